// What was drawn on the map: opened, changed, taken back. It is on disk before the next thing can be drawn.

import { announce, fill, h, notice } from '../look/dom.js';
import { FOOT_M, feet, fromUnit, inUnit } from '../look/words.js';
import { put, remove } from '../server.js';
import { fetched, known, on, set } from '../store.js';
import { card, putAway } from './card.js';
import { look, nameDrawn, named } from './found.js';
import { shifted } from './geo.js';
import { kindOf, nameOf } from './kinds.js';

const MOST_HANDLES = 20;
let map, shown, editing = null;
const layersById = new Map();
const done = [], undone = []; // steps: {id, before, after}; null = not there

/** Whether a click belongs to the drawing tool. */
export const busyDrawing = () => map.pm.globalDrawModeEnabled() || Boolean(editing);

export function startDrawing(onMap) {
  map = onMap;
  shown = L.featureGroup().addTo(map);
  on('drawn', redraw);
  map.getContainer().addEventListener('keydown', ({ key }) => key === 'Escape' && editing && putAway());
}

/** A feature of a kind as it begins. */
export function nameless(kind, geometry) {
  return { type: 'Feature', id: crypto.randomUUID(), geometry, properties: { what: kind.what ?? kind.id, name: '', note: '', ...kind.first } };
}

/** Carry out a step on the server and in the copy here; true once it is on disk. */
export async function change(step, remember = true) {
  try {
    const said = step.after ? await put(`/api/drawn/${step.id}`, step.after) : await remove(`/api/drawn/${step.id}`);
    const others = known.drawn.features.filter(({ id }) => id !== step.id);
    if (said.version === known.drawn.version + 1) set('drawn', { ...known.drawn, version: said.version, features: step.after ? [...others, step.after] : others });
    else await fetched('drawn'); // another page drew meanwhile
    if (remember) {
      done.push(step);
      undone.length = 0;
    }
    set('steps', { undo: done.length, redo: undone.length });
    notice('');
    return true;
  } catch (problem) {
    notice(problem.message);
    await fetched('drawn');
    return false;
  }
}

/** Take the last step back, or do it again. */
export async function undo() {
  const step = done.pop();
  if (!step || elsewhere(drawnById(step.id), step.after)) return;
  putAway();
  if (await change({ id: step.id, before: step.after, after: step.before }, false)) undone.push(step);
  else done.push(step);
  set('steps', { undo: done.length, redo: undone.length });
  announce('Undone', 0);
}

export async function redo() {
  const step = undone.pop();
  if (!step || elsewhere(drawnById(step.id), step.before)) return;
  putAway();
  if (await change(step, false)) done.push(step);
  set('steps', { undo: done.length, redo: undone.length });
  announce('Done again', 0);
}

/** Whether something was changed on another page since a step, which must not be lost by taking the step back; a notice says so. */
function elsewhere(now, then) {
  const given = (feature) => Object.entries(feature.properties).filter(([, value]) => value != null && value !== '').map(([name, value]) => `${name}:${value}`).sort().join();
  const same = now && then ? given(now) === given(then) && JSON.stringify(now.geometry) === JSON.stringify(then.geometry) : !now === !then;
  if (same) return false;
  set('steps', { undo: done.length, redo: undone.length });
  notice('It was changed on another page since, so that step was left as it is.');
  return true;
}

const drawnById = (id) => known.drawn.features.find((feature) => feature.id === id);

/** Open a drawn thing: its properties, its shape, its end. */
export function select(id) {
  const feature = drawnById(id);
  if (!feature) return;
  const kind = kindOf(feature), properties = { ...feature.properties };
  card(nameOf(feature), [
    questions(kind, properties, (name) => change({ id, before: drawnById(id), after: { ...drawnById(id), properties: { ...drawnById(id).properties, [name]: properties[name] } } })),
    h('p', { class: 'why', text: 'Drag it or its corners on the map.' }, h('span', { class: 'by-keys', text: ' By keyboard: go to “Move with arrow keys” and press the arrows.' })),
    h('div', { class: 'row' },
      h('button', { type: 'button', text: 'Move with arrow keys', onkeydown: (event) => moveByKey(event, id) }),
      h('button', { type: 'button', id: 'delete-drawn', text: 'Delete', onclick: () => { putAway(); change({ id, before: drawnById(id), after: null }); announce('Deleted; undo brings it back', 0); } })),
  ], release);
  hold(id);
}

/** Handles are for the pointer; keys have the cross, and the arrows of the card. */
export function quietHandles() {
  for (const handle of map.getContainer().querySelectorAll('.marker-icon')) {
    handle.removeAttribute('role');
    handle.setAttribute('aria-hidden', 'true');
    handle.tabIndex = -1;
  }
}

function hold(id) {
  const layer = layersById.get(id);
  editing = layer ? { id, layer } : null;
  if (!layer) return;
  if (layer instanceof L.Marker) layer.dragging.enable();
  else layer.pm.enable({ allowSelfIntersection: false, draggable: false, limitMarkersToCount: MOST_HANDLES });
  layer.on('pm:markerdragend pm:vertexremoved dragend', () => keepShape(id));
  quietHandles();
}

async function keepShape(id) {
  const before = drawnById(id), layer = layersById.get(id);
  if (!before || !layer) return;
  await change({ id, before, after: { ...before, geometry: layer.toGeoJSON(8).geometry } });
}

function release() {
  const layer = editing?.layer;
  editing = null;
  if (layer) redraw();
}

async function moveByKey(event, id) {
  const step = (feet() ? FOOT_M : 0.3) * (event.shiftKey ? 10 : 1);
  const by = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] }[event.key];
  if (!by) return;
  event.preventDefault();
  const before = drawnById(id), move = ([lon, lat]) => { const at = shifted({ lon, lat }, ...by); return [at.lon, at.lat]; };
  const deep = (at) => (typeof at[0] === 'number' ? move(at) : at.map(deep));
  await change({ id, before, after: { ...before, geometry: { ...before.geometry, coordinates: deep(before.geometry.coordinates) } } });
}

/** A field for each thing asked; lengths in the user's unit. `changed` is called with its name after an answer. */
function questions(kind, properties, changed) {
  const field = (ask) => {
    const isLength = ask.kind === 'length', value = isLength ? inUnit(properties[ask.name]) : properties[ask.name] ?? '';
    const title = isLength ? `${ask.title} (${feet() ? 'ft' : 'm'})` : ask.unit ? `${ask.title} (${ask.unit})` : ask.title;
    return h('label', {}, h('span', {}, title, ask.help && h('span', { class: 'why', text: ` ${ask.help}` })),
      h('input', { type: ask.kind === 'text' ? 'text' : 'number', min: 0, step: 'any', name: ask.name, value, onchange: ({ target }) => {
        properties[ask.name] = ask.kind === 'text' ? target.value : isLength ? fromUnit(target.value) : target.value === '' ? null : Number(target.value);
        changed(ask.name);
      } }));
  };
  return h('div', { class: 'asks' }, kind.asks.map(field));
}

function redraw() {
  shown.clearLayers();
  layersById.clear();
  for (const feature of known.drawn.features) layersById.set(feature.id, drawOne(feature));
  nameDrawn(known.drawn.features.filter(({ properties }) => properties.name).map(nameOn));
  if (editing && !drawnById(editing.id)) {
    putAway();
    notice('It was deleted on another page.');
  } else if (editing) hold(editing.id); // whichever page changed it, the shape being edited stays in hand
}

function drawOne(feature) {
  const { properties, geometry, id } = feature, role = properties.what === 'service' ? `service:${properties.service}` : properties.what;
  const style = { ...look(role, geometry.type), bubblingMouseEvents: false };
  let layer;
  if (geometry.type === 'Point') {
    const [lon, lat] = geometry.coordinates;
    if (properties.what === 'tree' && properties.crown_m) L.circle([lat, lon], { ...style, radius: properties.crown_m / 2, interactive: false, pmIgnore: true }).addTo(shown);
    layer = L.marker([lat, lon], { icon: L.divIcon({ className: `point-drawn ${properties.what} ${properties.service ?? ''}`, iconSize: [18, 18] }), alt: nameOf(feature), title: nameOf(feature), bubblingMouseEvents: false });
    if (properties.what === 'keep_out' && properties.distance_m) L.circle([lat, lon], { ...style, radius: properties.distance_m, interactive: false, pmIgnore: true }).addTo(shown);
  } else {
    layer = L.geoJSON(feature, { style: () => style }).getLayers()[0];
    Object.assign(layer.options, style);
  }
  layer.on('click', (event) => { if (!busyDrawing() || editing) { L.DomEvent.stop(event); if (editing?.id !== id) select(id); } });
  layer.addTo(shown);
  return layer;
}

function nameOn({ id, properties: { name, service } }) {
  const layer = layersById.get(id);
  return layer.getBounds ? named(name, layer.getBounds()) : { at: layer.getLatLng(), words: name, kind: `below ${service ?? ''}-name` };
}

/** The list of what was drawn, each with a way to open it. */
export function drawnList() {
  const list = h('ul', { class: 'drawn-list' });
  return fill(list, known.drawn.features.map((feature) => h('li', {}, h('span', { text: nameOf(feature) }),
    h('button', { type: 'button', text: 'Open', 'aria-label': `Open ${nameOf(feature)}`, onclick: () => select(feature.id) }))));
}
