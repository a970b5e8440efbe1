// Ground: the terrain model, what its heights are in, and the fields a house may stand in.

import { h } from '../look/dom.js';
import { draw } from '../map/sketch.js';
import { KINDS } from '../map/kinds.js';
import { known } from '../store.js';
import { gatherPart } from './gather.js';
import { addButton, fieldsOf, fileList, settingField } from './parts.js';

const GROUND_ROLES = new Set(['dem', 'far_dem', 'surface', 'parcels']);
const field = KINDS.find(({ id }) => id === 'field');

export function groundPart() {
  const { state } = known, fields = known.drawn.features.filter(({ properties }) => properties.what === 'field');
  const parcels = (state?.files ?? []).some(({ used_as }) => used_as === 'parcels');
  return [
    state?.model?.state === 'failed' && !state.questions.length && h('p', { class: 'broken', text: state.model.words }),
    state?.model?.state === 'reading' && h('p', { class: 'soft', text: state.model.words || 'Reading the ground …' }),
    fileList((file) => GROUND_ROLES.has(file.used_as ?? file.proposed) || (!file.used_as && file.kind === 'raster')),
    addButton(),
    gatherPart(),
    h('p', { class: 'why', text: 'A terrain model of the bare ground (GeoTIFF). Finer is better: with cells of 1 m the pitch under a house can be told; with 10 m it cannot.' }),
    h('h3', { text: 'Where a house may stand' }),
    !parcels && !fields.length && h('p', { text: 'No field yet. Add the parcels’ outlines, or draw a field, or a circle round a place.' }),
    fields.length > 0 && h('p', { text: `${fields.length} drawn ${fields.length === 1 ? 'field' : 'fields'}${parcels ? ' besides the parcels' : ''}.` }),
    h('div', { class: 'row' }, h('button', { type: 'button', id: 'draw-field', text: 'Draw a field', onclick: () => draw(field, 'Polygon') }), h('button', { type: 'button', text: 'A circle', onclick: () => draw(field, 'Circle') })),
    more(fieldsOf('ground')),
  ];
}

/** Settings that few need, folded away. */
export function more(fields, title = 'More about the ground') {
  const rows = fields.map(settingField).filter(Boolean);
  return rows.length > 0 && h('details', {}, h('summary', { text: title }), rows);
}
