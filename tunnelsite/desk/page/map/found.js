// What is in the files and what was found: parcels, buildings, options with their pads, pins, an older answer beside the new one.

import { known, on } from '../store.js';
import { take } from '../hand.js';
import { addHatches } from './house.js';
import { setLabels } from './labels.js';

const INK = '#1f2620', WATER = '#1d5d9e', PLANT = '#4d5d2c', BUILT = '#5c5148', PLUM = '#3b2350', BEFORE = '#6b5a00';
const HOUSE_ZOOM = 18; // a house of 96 ft is some 70 pixels long
let map, files, options, pins, before;
let fileNames = [], drawnNames = [];

export function startFound(onMap) {
  map = onMap;
  [files, before, options, pins] = [0, 1, 2, 3].map(() => L.featureGroup().addTo(map));
  on('features', drawFiles);
  on('answer', drawOptions);
  on('before', drawBefore);
  on('state', drawPins);
}

/** How a thing of the farm is drawn, by what it is used as; a line is never filled. */
export function look(role, geometry = '') {
  const style = lookOf(role);
  return geometry.includes('Line') ? { ...style, fill: false, weight: Math.max(style.weight, 3) } : style;
}

function lookOf(role) {
  const plain = { weight: 2, color: INK, fill: false };
  if (role === 'parcels' || role === 'field') return { ...plain, weight: 2.4, color: INK, dashArray: role === 'field' ? '10 4' : null };
  if (role === 'structures' || role === 'building') return { ...plain, color: BUILT, fill: true, fillColor: BUILT, fillOpacity: 0.55 };
  if (role === 'keep_out') return { ...plain, color: '#6d5a4a', fill: true, fillColor: 'url(#hatch-keep-out)', fillOpacity: 0.9, dashArray: '3 4' };
  if (role === 'service:water') return { ...plain, weight: 3, color: WATER, fill: true, fillColor: WATER, fillOpacity: 0.8 };
  if (role === 'service:power') return { ...plain, weight: 2, color: INK, dashArray: '2 6', fill: true, fillColor: '#fff', fillOpacity: 1 };
  if (role === 'service:road' || role === 'road') return { ...plain, weight: 5, color: '#8d8577' };
  if (role === 'obstacles' || role === 'tree' || role === 'tree_line') return { ...plain, weight: 2, color: PLANT, fill: true, fillColor: PLANT, fillOpacity: 0.45 };
  if (role === 'wall') return { ...plain, weight: 4, color: BUILT };
  if (role === 'lamp' || role === 'lamps') return { ...plain, color: INK, fill: true, fillColor: '#ffe27a', fillOpacity: 1 };
  return { ...plain, color: '#6d7268' };
}

const NOT_DRAWN = new Set(['soils']); // covers everything: a layer of its own where the server makes one
const LABELLED = new Set(['parcels']);

/** What is named on the map: fields of the files, and what was drawn. */
export function nameDrawn(names) {
  drawnNames = names;
  setLabels('names', [...fileNames, ...drawnNames]);
}

function drawFiles(collection) {
  files.clearLayers();
  fileNames = [];
  const shown = collection.features.filter(({ properties }) => !NOT_DRAWN.has(properties.role));
  for (const feature of shown) {
    const { role, name } = feature.properties;
    L.geoJSON(feature, {
      interactive: false, pmIgnore: true, style: () => look(role, feature.geometry.type),
      pointToLayer: (_, at) => L.circleMarker(at, { ...look(role), radius: role === 'obstacles' ? 4 : 6, interactive: false, pmIgnore: true }),
    }).addTo(files);
    if (LABELLED.has(role) && name) fileNames.push(named(name, L.geoJSON(feature).getBounds()));
  }
  addHatches(map);
  files.bringToBack();
  nameDrawn(drawnNames);
}

/** A name in the middle of the bounds of what it names. */
export const named = (words, room) => ({ at: room.getCenter(), words, room });

function outline(polygon, style, click, words) {
  const layer = L.geoJSON(polygon, { style: () => style, interactive: Boolean(click), pmIgnore: true, bubblingMouseEvents: false });
  if (click) {
    layer.on('click', (event) => {
      L.DomEvent.stop(event);
      click();
    });
    layer.on('add', () => layer.eachLayer((path) => {
      path.getElement()?.setAttribute('role', 'img');
      path.getElement()?.setAttribute('aria-label', words);
    }));
  }
  return layer;
}

const middle = ({ lat, lon }) => [lat, lon];

function drawOptions(answer) {
  options.clearLayers();
  const ranks = [];
  const draw = (option, kind) => {
    const name = kind === 'option' ? `Option ${option.rank}` : `Compromise ${option.rank}`;
    const hold = () => take(option.place, true);
    outline(option.pad, { weight: 1, color: INK, dashArray: '4 3', fill: false }).addTo(options);
    outline(option.footprint, { weight: 2, color: INK, fillColor: '#fff', fillOpacity: 0.55, className: 'option-outline', dashArray: kind === 'option' ? null : '2 3' }, hold, name).addTo(options);
    if (option.ridge) outline(option.ridge, { weight: 1.2, color: INK }).addTo(options);
    ranks.push({ at: middle(option.place), words: kind === 'option' ? `${option.rank}` : `c${option.rank}`, kind: 'rank' });
  };
  (answer?.options ?? []).forEach((option) => draw(option, 'option'));
  (answer?.compromises ?? []).forEach((option) => draw(option, 'compromise'));
  setLabels('ranks', ranks);
}

function drawBefore(answer) {
  before.clearLayers();
  const old = [];
  for (const option of answer?.options ?? []) {
    outline(option.footprint, { weight: 3, color: BEFORE, dashArray: '6 4', fill: false }).addTo(before);
    old.push({ at: middle(option.place), words: `before: ${option.rank}`, kind: 'before' });
  }
  setLabels('before', old);
}

function drawPins(state) {
  pins.clearLayers();
  for (const pin of state?.pins ?? []) {
    if (pin.footprint) outline(pin.footprint, { weight: 3, color: PLUM, fill: false }, () => take(pin.place, true), `Pin ${pin.letter}`).addTo(pins);
  }
  setLabels('pins', (state?.pins ?? []).map((pin) => ({ at: middle(pin.place), words: pin.letter, kind: 'pin' })));
}

/** Show a place, near enough for the house to be seen at its size. */
export function show(place) {
  const near = Math.max(map.getZoom(), HOUSE_ZOOM);
  if (near > map.getZoom() || !map.getBounds().pad(-0.15).contains([place.lat, place.lon])) map.setView([place.lat, place.lon], near);
}

/** Set the map to the fields, or where none are given to what the state says it should show. */
export function showAll(view) {
  const fields = [...known.features.features.filter(({ properties }) => properties.role === 'parcels'), ...known.drawn.features.filter(({ properties }) => properties.what === 'field')];
  if (fields.length) map.fitBounds(L.geoJSON(fields).getBounds(), { padding: [24, 24] });
  else if (view) map.fitBounds([[view.south, view.west], [view.north, view.east]], { padding: [20, 20] });
}
