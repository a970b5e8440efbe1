// Drawing on the map, over the drawing tool: what is drawn is on disk before the next thing can be drawn.

import { announce, fill, h, notice } from '../look/dom.js';
import { FOOT_M, feet, fromUnit, inUnit } from '../look/words.js';
import { put, remove } from '../server.js';
import { fetched, known, on, set } from '../store.js';
import { card, putAway } from './card.js';
import { look } from './found.js';
import { shifted } from './geo.js';
import { KINDS, SHAPE_WORDS, kindOf, nameOf } from './kinds.js';
import { label } from './view.js';

const CIRCLE_CORNERS = 64, MOST_HANDLES = 20;
let map, shown, drawing = null, editing = null;
const layersById = new Map();
const done = [], undone = []; // steps: {id, before, after}; null = not there

/** Whether a click belongs to the drawing tool. */
export const busyDrawing = () => Boolean(drawing || editing);

export function startDrawing(onMap) {
  map = onMap;
  shown = L.featureGroup().addTo(map);
  on('drawn', redraw);
  map.on('pm:create', ({ layer }) => finish(layer));
  map.on('pm:drawend', () => { if (drawing && !drawing.finishing) stop(); });
  map.getContainer().addEventListener('keydown', keys);
}

/** Begin to draw a kind of thing with one of its tools. */
export function draw(kind, shape = kind.shapes[0]) {
  stop();
  putAway();
  drawing = { kind, shape, properties: { ...kind.first } };
  const cross = h('div', { class: 'crosshair', 'aria-hidden': 'true' });
  const box = card(`Draw: ${kind.title}`, [
    h('p', { class: 'why', text: kind.say }),
    kind.shapes.length > 1 && h('div', { class: 'row', role: 'group', 'aria-label': 'Drawn as' }, kind.shapes.map((each) => h('button', { type: 'button', 'aria-pressed': String(each === shape), text: `as a ${SHAPE_WORDS[each]}`.replace('a outline', 'an outline'), onclick: () => draw(kind, each) }))),
    questions(kind, drawing.properties, () => {}),
    h('p', { class: 'why by-keys', text: 'By keys: arrows move the map under the cross, Enter puts a corner there, F finishes, Escape stops.' }),
    h('div', { class: 'row' },
      shape !== 'Marker' && shape !== 'Circle' && h('button', { type: 'button', id: 'finish', text: 'Finish', onclick: finishShape }),
      h('button', { type: 'button', text: 'Stop', onclick: putAway })),
  ], stop);
  drawing.cross = cross;
  drawing.box = box;
  map.getContainer().parentElement.append(cross);
  map.pm.enableDraw(shape, {
    markerStyle: { icon: L.divIcon({ className: 'corner', iconSize: [12, 12] }) }, continueDrawing: false,
    pathOptions: look(kind.what === 'service' ? `service:${kind.id}` : kind.id, shape),
    templineStyle: { color: '#1f2620', weight: 2 }, hintlineStyle: { color: '#1f2620', weight: 2, dashArray: '4 4' },
  });
  map.getContainer().focus({ preventScroll: true });
  announce(`Draw ${kind.title}. ${kind.say}`, 0);
}

function finishShape() {
  const tool = map.pm.Draw[drawing?.shape];
  if (tool?._finishShape) tool._finishShape();
}

function stop() {
  if (!drawing) return;
  drawing.cross.remove();
  drawing = null;
  map.pm.disableDraw();
}

function keys(event) {
  if (event.key === 'Escape' && busyDrawing()) return putAway();
  if (!drawing || event.target !== map.getContainer()) return undefined;
  if (event.key === 'Enter') {
    event.preventDefault();
    const latlng = map.getCenter(), layerPoint = map.latLngToLayerPoint(latlng), containerPoint = map.latLngToContainerPoint(latlng);
    map.fire('click', { latlng, layerPoint, containerPoint, originalEvent: event });
  }
  if (event.key.toLowerCase() === 'f') finishShape();
  return undefined;
}

async function finish(layer) {
  const { kind, properties } = drawing;
  drawing.finishing = true;
  if (kind.take) { // asked for by another part of the page, and kept there
    layer.remove();
    putAway();
    kind.take(layer.getLatLng(), layer.getRadius());
    return;
  }
  const geometry = layer instanceof L.Circle ? circleOf(layer) : layer.toGeoJSON(8).geometry;
  layer.remove();
  putAway();
  const feature = { type: 'Feature', id: crypto.randomUUID(), geometry, properties: { what: kind.what ?? kind.id, name: '', note: '', ...properties } };
  if (await change({ id: feature.id, before: null, after: feature })) {
    announce(`${kind.title} drawn and kept`);
    select(feature.id);
  }
}

function circleOf(layer) {
  const { lat, lng } = layer.getLatLng(), radius = layer.getRadius();
  const ring = Array.from({ length: CIRCLE_CORNERS }, (_, n) => {
    const turn = (2 * Math.PI * n) / CIRCLE_CORNERS, at = shifted({ lat, lon: lng }, radius * Math.cos(turn), radius * Math.sin(turn));
    return [at.lon, at.lat];
  });
  return { type: 'Polygon', coordinates: [[...ring, ring[0]]] };
}

/** Carry out a step on the server and in the copy here; true once it is on disk. */
async function change(step, remember = true) {
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
  stop();
  const kind = kindOf(feature), properties = { ...feature.properties };
  card(nameOf(feature), [
    questions(kind, properties, (name) => change({ id, before: drawnById(id), after: { ...drawnById(id), properties: { ...drawnById(id).properties, [name]: properties[name] } } })),
    h('p', { class: 'why', text: 'Drag it or its corners on the map. By keyboard: go to “Move with arrow keys” and press the arrows.' }),
    h('div', { class: 'row' },
      h('button', { type: 'button', text: 'Move with arrow keys', onkeydown: (event) => moveByKey(event, id) }),
      h('button', { type: 'button', id: 'delete-drawn', text: 'Delete', onclick: () => { putAway(); change({ id, before: drawnById(id), after: null }); announce('Deleted; undo brings it back', 0); } })),
  ], release);
  hold(id);
}

function hold(id) {
  const layer = layersById.get(id);
  editing = layer ? { id, layer } : null;
  if (!layer) return;
  if (layer instanceof L.Marker) layer.dragging.enable();
  else layer.pm.enable({ allowSelfIntersection: false, draggable: false, limitMarkersToCount: MOST_HANDLES });
  layer.on('pm:markerdragend pm:vertexremoved dragend', () => keepShape(id));
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
  if (properties.name) label(layer.getBounds ? layer.getBounds().getCenter() : layer.getLatLng(), properties.name, geometry.type === 'Point' ? `below ${properties.service ?? ''}-name` : '').addTo(shown);
  return layer;
}

/** The pane with everything that can be drawn. */
export function kindsPane(close) {
  return h('div', { class: 'kinds' }, KINDS.map((kind) => h('button', { type: 'button', onclick: () => { close(); draw(kind); } }, kind.title)));
}

/** The list of what was drawn, each with a way to open it. */
export function drawnList() {
  const list = h('ul', { class: 'drawn-list' });
  return fill(list, known.drawn.features.map((feature) => h('li', {}, h('span', { text: nameOf(feature) }),
    h('button', { type: 'button', text: 'Open', 'aria-label': `Open ${nameOf(feature)}`, onclick: () => select(feature.id) }))));
}
