// Pictures and contours from the server: laid under everything else, each with its opacity and its legend.

import { fill, h } from '../look/dom.js';
import { MONTH_NAMES, height } from '../look/words.js';
import { get } from '../server.js';
import { known, on } from '../store.js';
import { backgroundPart } from './background.js';
import { setLabels } from './labels.js';

const laid = new Map(); // id -> {layer, overlay}
const LETTER_SHARE = 0.03; // of the width of a legend
const legendsFolded = new Set();
const chosen = new Map(); // id -> {shown, opacity, month}: the user's own, kept while the page is open
let map, contourLines;
let heights = [];

export function startLayers(onMap) {
  map = onMap;
  on('layers', () => lay());
  on('contours', layContours);
}

/** What the user set for a layer, beginning with what the server proposes. */
export function choice(layer) {
  if (!chosen.has(layer.id)) {
    chosen.set(layer.id, { shown: layer.shown, opacity: layer.opacity, month: layer.months?.includes(12) ? 12 : layer.months?.[0] });
  }
  return chosen.get(layer.id);
}

export function choose(layer, change) {
  if (change.shown) for (const each of known.layers) legendsFolded[each.id === layer.id ? 'delete' : 'add'](each.id); // the newest legend is read, the map stays free
  chosen.set(layer.id, { ...choice(layer), ...change });
  lay();
}

function address(layer) {
  const { month } = choice(layer);
  return layer.months ? `${layer.url}${layer.url.includes('?') ? '&' : '?'}month=${month}` : layer.url;
}

function lay() {
  const wanted = known.layers.filter((layer) => choice(layer).shown);
  for (const [id, { overlay }] of laid) {
    if (!wanted.some((layer) => layer.id === id)) {
      overlay.remove();
      laid.delete(id);
    }
  }
  for (const layer of wanted) layOne(layer);
  drawLegends(wanted);
}

function layOne(layer) {
  const url = address(layer), { opacity } = choice(layer), { west, south, east, north } = layer.bounds;
  const bounds = [[south, west], [north, east]], held = laid.get(layer.id);
  if (held && held.url === url) {
    held.overlay.setOpacity(opacity).setBounds(bounds);
    return;
  }
  const pane = layer.id === 'hillshade' ? 'ground' : 'rasters';
  const overlay = L.imageOverlay(url, bounds, { opacity, pane, className: 'ground-image', alt: '', zIndex: known.layers.indexOf(layer) + 1 });
  // the old picture stays until the new one is there, so that nothing flickers
  overlay.once('load error', () => held?.overlay.remove());
  overlay.addTo(map);
  laid.set(layer.id, { overlay, url });
}

async function layContours(contours) {
  contourLines?.remove();
  heights = [];
  if (!contours) return layHeights();
  const lines = await get(contours.url);
  if (contours !== known.contours) return;
  contourLines = L.geoJSON(lines, {
    pane: 'contours', interactive: false, pmIgnore: true, renderer: L.canvas({ pane: 'contours', padding: 0.3 }),
    style: ({ properties }) => ({ color: '#6f5a3c', weight: properties.index ? 1.6 : 0.7, opacity: properties.index ? 0.85 : 0.55 }),
  }).addTo(map);
  const long = lines.features.filter(({ properties, geometry }) => properties.index && geometry.coordinates.length > 12);
  for (const line of long.sort((a, b) => b.geometry.coordinates.length - a.geometry.coordinates.length)) {
    const [lon, lat] = line.geometry.coordinates[Math.floor(line.geometry.coordinates.length / 2)];
    heights.push({ at: [lat, lon], words: height(line.properties.height_m), kind: 'height' });
  }
  layHeights();
}

function layHeights() {
  setLabels('heights', contourLines && map.hasLayer(contourLines) ? heights : []);
}

/** The pane of layers: a switch, a name and an opacity each. */
export function layersPane() {
  const contours = contourLines && h('div', { class: 'layer-row' },
    h('input', { type: 'checkbox', id: 'layer-contours', checked: map.hasLayer(contourLines), onchange: ({ target }) => {
      if (target.checked) contourLines.addTo(map);
      else contourLines.remove();
      layHeights();
    } }),
    h('label', { for: 'layer-contours', text: `Contours, every ${known.contours?.interval_words ?? ''}` }), h('span'));
  const rows = known.layers.map((layer) => row(layer));
  if (!rows.length) return h('div', {}, h('p', { class: 'soft', text: 'No ground yet: give the desk a terrain model first.' }), backgroundPart());
  return h('div', {}, ...rows, contours, backgroundPart());
}

function row(layer) {
  const now = choice(layer), id = `layer-${layer.id}`;
  const month = layer.months && h('select', { 'aria-label': `Month of ${layer.title}`, onchange: ({ target }) => choose(layer, { month: Number(target.value), shown: true }) },
    layer.months.map((m) => h('option', { value: m, text: MONTH_NAMES[m - 1], selected: m === now.month })));
  return h('div', {},
    h('div', { class: 'layer-row' },
      h('input', { type: 'checkbox', id, checked: now.shown, onchange: ({ target }) => choose(layer, { shown: target.checked }) }),
      h('label', { for: id, text: layer.title }),
      h('input', { type: 'range', min: 0, max: 1, step: 0.05, value: now.opacity, 'aria-label': `Opacity of ${layer.title}`, oninput: ({ target }) => choose(layer, { opacity: Number(target.value) }) })),
    month);
}

function drawLegends(shown) {
  const box = document.getElementById('legends');
  L.DomEvent.disableClickPropagation(box);
  L.DomEvent.disableScrollPropagation(box);
  const withLegend = shown.filter(({ legend }) => legend && legend.kind !== 'none');
  fill(box, withLegend.map(legendOf));
}

function legendOf({ legend, title, months, ...layer }) {
  const folded = legendsFolded.has(layer.id);
  const box = (...inside) => h('details', { class: 'legend', open: !folded, ontoggle: ({ target }) => legendsFolded[target.open ? 'delete' : 'add'](layer.id) }, head, ...inside);
  const head = h('summary', { text: months ? `Light in ${MONTH_NAMES[choice({ ...layer, months }).month - 1]}` : `${legend.title || title}${legend.unit ? ` (${legend.unit})` : ''}` });
  const note = legend.note && h('p', { class: 'note why', text: legend.note });
  if (legend.kind === 'classes') return box(h('ul', {}, legend.classes.map(classRow)), note);
  const ramp = h('span', { class: 'ramp', style: { 'background-image': `linear-gradient(to right, ${legend.colours.join(',')})` } });
  const free = Math.min(0.75, 0.9 - legend.high.words.length * LETTER_SHARE);
  const inner = (legend.ticks ?? []).filter(({ at }) => at > 0.2 && at < free); // those at the ends are the ends
  const ends = h('div', { class: 'ends' }, h('span', { text: legend.low.words }), ...inner.map(({ at, words }) => h('span', { class: 'tick', style: { left: `${100 * at}%` }, text: words })), h('span', { text: legend.high.words }));
  return box(ramp, ends, note);
}

const PATTERNS = {
  diagonal: 'repeating-linear-gradient(45deg, transparent 0 3px, rgb(255 255 255 / .8) 3px 5px)',
  cross: 'repeating-linear-gradient(45deg, transparent 0 3px, rgb(255 255 255 / .7) 3px 4px), repeating-linear-gradient(-45deg, transparent 0 3px, rgb(255 255 255 / .7) 3px 4px)',
  dots: 'radial-gradient(circle at 3px 3px, rgb(255 255 255 / .9) 1.3px, transparent 1.5px)',
};

function classRow({ words, colour, pattern }) {
  const style = { 'background-color': colour };
  if (PATTERNS[pattern]) Object.assign(style, { 'background-image': PATTERNS[pattern], 'background-size': pattern === 'dots' ? '6px 6px' : 'auto' });
  return h('li', {}, h('span', { class: 'swatch', style }), h('span', { text: words.replace(/ \(.*\)$/, ''), title: words }));
}
