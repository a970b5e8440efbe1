// A shape while it is drawn, over the drawing tool. Closed before its end, it is put aside with its corners, never dropped.

import { announce, fill, h } from '../look/dom.js';
import { card, putAway } from './card.js';
import { change, nameless, quietHandles, select } from './drawing.js';
import { look } from './found.js';
import { shifted } from './geo.js';
import { KINDS, SHAPE_WORDS } from './kinds.js';

const CIRCLE_CORNERS = 64, LEAST_CORNERS = { Polygon: 3, Line: 2 }, KEPT = 'tunnelsite-sketch'; // by the browser, for this tab
const INK = '#1f2620', CLOSES_PX = { mouse: 7, thumb: 16 }; // so near the first corner an outline closes, whatever else is snapped to

let map, drawing = null, aside = null, outline = null;

export function startSketch(onMap) {
  map = onMap;
  map.on('pm:create', ({ layer }) => finish(layer));
  map.on('pm:drawend', () => { if (drawing && !drawing.finishing) putAway(); });
  map.on('click', () => drawing && queueMicrotask(afterCorner)); // when the tool has heard it too
  map.getContainer().addEventListener('keydown', keys);
  window.addEventListener('pagehide', stop); // a tab that is loaded again has the corners still
  const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? 'null'), kind = KINDS.find(({ id }) => id === kept?.kind);
  if (kind) putAside({ kind, shape: kept.shape, corners: kept.corners.map((at) => L.latLng(at)) });
}

/** Begin to draw a kind of thing with one of its tools. */
export function draw(kind, shape = kind.shapes[0]) {
  putAway();
  const many = shape in LEAST_CORNERS, say = h('p', { class: 'broken', role: 'alert' });
  drawing = { kind, shape, say, cross: h('div', { class: 'crosshair', 'aria-hidden': 'true' }) };
  const box = card(`Draw: ${kind.title}`, [
    h('p', { class: 'why', text: `${kind.say} ${many ? `Click its ${shape === 'Polygon' ? 'corners' : 'points'} one after the other, then Finish.` : ''}` }),
    h('p', { class: 'why by-keys', text: `By keys: arrows move the map under the cross, Enter puts a ${many ? 'corner' : 'point'} there${many ? ', Backspace takes the last one back, F finishes' : ''}, Escape stops.` }),
    h('div', { class: 'row' },
      many && h('button', { type: 'button', id: 'finish', text: 'Finish', onclick: finishShape }),
      many && h('button', { type: 'button', id: 'back-corner', text: 'Take back a corner', onclick: backCorner }),
      kind.shapes.length > 1 && kind.shapes.map((each) => each !== shape && h('button', { type: 'button', text: `as a ${SHAPE_WORDS[each]}`.replace('a outline', 'an outline'), onclick: () => draw(kind, each) }))),
    say,
  ], stop, 'sketching');
  map.getContainer().parentElement.append(drawing.cross);
  dock(box.offsetHeight);
  map.pm.enableDraw(shape, {
    markerStyle: { icon: L.divIcon({ className: 'corner', iconSize: [12, 12] }) }, continueDrawing: false, snapDistance: matchMedia('(pointer: coarse)').matches ? CLOSES_PX.thumb : CLOSES_PX.mouse,
    pathOptions: look(kind.what === 'service' ? `service:${kind.id}` : kind.id, shape),
    templineStyle: { color: INK, weight: 2 }, hintlineStyle: { color: INK, weight: 2, dashArray: '4 4' },
  });
  quietHandles();
  map.getContainer().focus({ preventScroll: true });
  announce(`Draw ${kind.title}. ${kind.say}`, 0);
}

/** Make room for the bar below the map, so that it lies on none of the land. */
function dock(height) {
  map.getContainer().parentElement.style.setProperty('--bar', `${height}px`);
  map.invalidateSize({ animate: false });
}

/** The corners clicked so far. */
const cornersNow = () => (drawing?.shape in LEAST_CORNERS ? [...(map.pm.Draw[drawing.shape]._layer?.getLatLngs() ?? [])] : []);

function finishShape() {
  const { shape } = drawing ?? {}, tool = map.pm.Draw[shape], count = cornersNow().length;
  if (!(shape in LEAST_CORNERS)) return;
  if (count < LEAST_CORNERS[shape]) {
    drawing.say.textContent = `${shape === 'Polygon' ? 'An outline needs three corners' : 'A line needs two points'}; ${count || 'none'} ${count === 1 ? 'is' : 'are'} set so far.`;
    return;
  }
  tool._finishShape();
  if (drawing && !drawing.finishing) crosses();
}

const crosses = () => { drawing.say.textContent = 'That edge would cross another one. Click somewhere else, or take back a corner.'; };

/** The tool takes no corner whose edge crosses another, and says nothing. */
function afterCorner() {
  if (!drawing) return;
  quietHandles();
  const count = cornersNow().length;
  if (count === drawing.count && map.pm.Draw[drawing.shape]._doesSelfIntersect) crosses();
  else drawing.say.textContent = '';
  drawing.count = count;
}

function backCorner() {
  const { kind, shape } = drawing, corners = cornersNow();
  if (corners.length > 1) map.pm.Draw[shape]._removeLastVertex();
  else if (corners.length) {
    drawing.finishing = true; // the only corner is not put aside: it is what was taken back
    draw(kind, shape);
  }
  afterCorner();
}

function stop() {
  if (!drawing) return;
  const { kind, shape, finishing, cross } = drawing, corners = finishing ? [] : cornersNow();
  cross.remove();
  drawing = null;
  map.pm.disableDraw();
  dock(0);
  if (corners.length && !kind.take) putAside({ kind, shape, corners });
}

/** Keep the corners of a shape that was closed before its end, in sight, with a way on. null: there are none. */
function putAside(sketch) {
  aside = sketch;
  outline?.remove();
  outline = sketch && L.polyline(sketch.corners, { color: INK, weight: 2, dashArray: '2 5', interactive: false, pmIgnore: true }).addTo(map);
  if (sketch) sessionStorage.setItem(KEPT, JSON.stringify({ kind: sketch.kind.id, shape: sketch.shape, corners: sketch.corners.map(({ lat, lng }) => [lat, lng]) }));
  else sessionStorage.removeItem(KEPT);
  const box = document.getElementById('aside'), count = sketch?.corners.length;
  box.hidden = !sketch;
  fill(box, sketch && [h('p', { text: `${sketch.kind.title} begun: ${count} ${count === 1 ? 'corner is' : 'corners are'} kept.` }),
    h('div', { class: 'row' }, h('button', { type: 'button', id: 'go-on', class: 'main', text: 'Go on drawing', onclick: goOn }), h('button', { type: 'button', id: 'drop-aside', text: 'Drop it', onclick: () => putAside(null) }))]);
}

function goOn() {
  const { kind, shape, corners } = aside;
  putAside(null);
  draw(kind, shape);
  for (const corner of corners) put(corner);
  map.panInside(corners.at(-1), { padding: [40, 40] });
}

function put(latlng, originalEvent = {}) {
  map.fire('click', { latlng, layerPoint: map.latLngToLayerPoint(latlng), containerPoint: map.latLngToContainerPoint(latlng), originalEvent });
}

function keys(event) {
  if (event.key === 'Escape' && drawing) return putAway();
  if (!drawing || event.target !== map.getContainer()) return undefined;
  if (event.key === 'Enter' || event.key === 'Backspace') event.preventDefault();
  if (event.key === 'Enter') put(map.getCenter(), event);
  if (event.key === 'Backspace') backCorner();
  if (event.key.toLowerCase() === 'f') finishShape();
  return undefined;
}

async function finish(layer) {
  const { kind } = drawing;
  drawing.finishing = true;
  layer.remove();
  putAway();
  if (kind.take) return kind.take(layer.getLatLng(), layer.getRadius()); // asked for by another part of the page, and kept there
  const geometry = layer instanceof L.Circle ? circleOf(layer) : layer.toGeoJSON(8).geometry, feature = nameless(kind, geometry);
  if (await change({ id: feature.id, before: null, after: feature })) {
    announce(`${kind.title} drawn and kept`);
    select(feature.id);
  }
  return undefined;
}

function circleOf(layer) {
  const { lat, lng } = layer.getLatLng(), radius = layer.getRadius();
  const ring = Array.from({ length: CIRCLE_CORNERS }, (_, n) => {
    const turn = (2 * Math.PI * n) / CIRCLE_CORNERS, at = shifted({ lat, lon: lng }, radius * Math.cos(turn), radius * Math.sin(turn));
    return [at.lon, at.lat];
  });
  return { type: 'Polygon', coordinates: [[...ring, ring[0]]] };
}

/** The pane with everything that can be drawn. */
export function kindsPane(close) {
  return h('div', { class: 'kinds' }, KINDS.map((kind) => h('button', { type: 'button', onclick: () => { close(); draw(kind); } }, kind.title)));
}
