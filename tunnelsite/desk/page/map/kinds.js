// What can be drawn: its name, the tool that draws it, and what is asked about it.

const HEIGHT = { name: 'height_m', title: 'Height', help: 'to the top, above the ground beside it', kind: 'length' };
const KEEP = { name: 'distance_m', title: 'Keep away by', help: 'added to the outline on every side', kind: 'length' };
const NAME = { name: 'name', title: 'Name', kind: 'text' };

/** `shapes`: the tools in the order offered; `first`: values it begins with (metres). */
export const KINDS = [
  { id: 'field', title: 'Field', shapes: ['Polygon', 'Circle'], asks: [NAME], first: {}, say: 'Where a house may stand.' },
  { id: 'keep_out', title: 'Keep-out', shapes: ['Polygon', 'Line', 'Marker'], asks: [NAME, KEEP], first: { distance_m: 3.048 }, say: 'Wet ground, septic field, easement, buried or overhead line: no house here.' },
  { id: 'building', title: 'Building', shapes: ['Polygon'], asks: [NAME, HEIGHT], first: { height_m: 6.096 }, say: 'Casts shade, and the house keeps clear of it.' },
  { id: 'tree', title: 'Tree', shapes: ['Marker'], asks: [HEIGHT, { name: 'crown_m', title: 'Crown, across', kind: 'length' }], first: { height_m: 12.192, crown_m: 7.62 }, say: 'Casts shade; place it where the trunk stands.' },
  { id: 'tree_line', title: 'Tree line', shapes: ['Line'], asks: [HEIGHT, { name: 'width_m', title: 'Width', kind: 'length' }], first: { height_m: 9.144, width_m: 4.572 }, say: 'A hedge or row of trees: shade, and shelter from the wind.' },
  { id: 'wall', title: 'Wall', shapes: ['Line'], asks: [HEIGHT], first: { height_m: 1.8288 }, say: 'A wall or close fence.' },
  { id: 'water', title: 'Water', what: 'service', shapes: ['Marker', 'Line'], asks: [NAME], first: { service: 'water' }, say: 'A tap, well or pipe to draw from.' },
  { id: 'power', title: 'Power', what: 'service', shapes: ['Marker', 'Line'], asks: [NAME], first: { service: 'power' }, say: 'A pole, panel or supply to connect to.' },
  { id: 'road', title: 'Road', shapes: ['Line'], asks: [NAME, { ...KEEP, help: 'from its middle' }], first: { distance_m: 4.572 }, say: 'A lane that trucks can use.' },
  { id: 'lamp', title: 'Lamp', shapes: ['Marker'], asks: [{ name: 'lumens', title: 'Light', unit: 'lumens', kind: 'number' }, HEIGHT], first: { lumens: 5000, height_m: 4.572 }, say: 'Light at night keeps some crops from flowering.' },
];

export const SHAPE_WORDS = { Polygon: 'outline', Line: 'line', Marker: 'point', Circle: 'circle' };

/** The kind of a drawn feature. */
export function kindOf({ properties }) {
  if (properties.what === 'service') return KINDS.find(({ id }) => id === properties.service) ?? { ...KINDS[6], id: properties.service, title: properties.service, first: { service: properties.service } };
  return KINDS.find(({ id }) => id === properties.what) ?? { id: properties.what, title: properties.what, shapes: [], asks: [NAME], first: {}, say: '' };
}

/** A line that tells one drawn thing from another. */
export function nameOf(feature) {
  return feature.properties.name ? `${kindOf(feature).title}: ${feature.properties.name}` : kindOf(feature).title;
}
