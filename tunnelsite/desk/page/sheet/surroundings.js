// Surroundings: what stands about, what to keep off, what to be near.

import { h } from '../look/dom.js';
import { drawnList } from '../map/drawing.js';
import { KINDS } from '../map/kinds.js';
import { draw } from '../map/sketch.js';
import { known } from '../store.js';
import { more } from './ground.js';
import { addButton, fieldsOf, fileList, settingField } from './parts.js';

const GROUND_ROLES = new Set(['dem', 'far_dem', 'surface', 'parcels']);

export function surroundingsPart() {
  const fields = fieldsOf('surroundings'), rules = fields.filter(({ name }) => ['setback', 'clearance'].includes(name)), rest = fields.filter((field) => !rules.includes(field));
  return [
    h('p', { class: 'why', text: 'Trees and buildings cast shade; wet ground, septic fields and lines are kept off; water, power and a road should be near. What is not given is not assessed, and the answer says so.' }),
    fileList((file) => !GROUND_ROLES.has(file.used_as ?? file.proposed) && file.kind !== 'raster'),
    addButton(),
    h('p', { class: 'why', text: 'Fields, buildings, water, soils can also be fetched: under Ground, “Get data from a source”.' }),
    h('h3', { text: 'Draw on the map' }),
    h('div', { class: 'kinds' }, KINDS.map((kind) => h('button', { type: 'button', text: kind.title, onclick: () => draw(kind) }))),
    known.drawn.features.length > 0 && [h('h3', { text: 'Drawn so far' }), drawnList()],
    rules.length > 0 && [h('h3', { text: 'Distances to keep' }), rules.map(settingField)],
    more(rest, 'More about the surroundings'),
  ];
}
