// Data from sources that the user names: their size is shown first; nothing is fetched before a button is pressed.

import { announce, h } from '../look/dom.js';
import { FOOT_M, feet, withUnit } from '../look/words.js';
import { draw } from '../map/sketch.js';
import { showCircle } from '../map/circle.js';
import { get, post, remove } from '../server.js';
import { known, set, tried } from '../store.js';

const OTHER = 'address'; // an address that is typed, instead of a source by its name
const MODELS = [
  { id: 'ground', title: 'Bare ground (heights)', kinds: ['raster', 'stac'], such: 'https://…/ground.tif, or a STAC catalogue' },
  { id: 'surface', title: 'Ground with what stands on it', kinds: ['raster', 'stac'], such: 'https://…/surface.tif, or a STAC catalogue' },
  { id: 'points', title: 'Survey points (LAS, LAZ), for both', kinds: ['points'], such: 'https://…/points.laz' },
];
const CIRCLE = { id: 'circle', title: 'Place to fetch', shapes: ['Circle'], asks: [], first: {}, say: 'Click the middle, then where the edge should be. It is not kept as a field.' };
const form = { where: 'circle', middle: '', radius: '', halo: '', standing: false, unit: '', picked: {}, features: [], replace: false };
let asked = ''; // what the size was asked for, so that another wish asks again

const usual = () => (feet() ? { radius: '1300 ft', halo: '1000 ft' } : { radius: '400 m', halo: '300 m' });
const change = (part) => { Object.assign(form, part); onMap(); set('gather', known.gather); };
const going = () => known.gather?.state === 'running';

export async function fetchedSources() {
  set('sources', await get('/api/gather/sources'));
}

/** A list of sources was dropped: it is shown where it is used. */
export async function sourcesCame() {
  form.open = true;
  await fetchedSources();
  document.querySelector('details.gather')?.setAttribute('open', '');
  announce(`${known.sources?.sources.length ?? 0} sources taken`);
}

export function gatherPart() {
  const sources = known.sources?.sources ?? [], { gather } = known;
  return h('details', { class: 'gather', open: Boolean(going() || form.open), ontoggle: ({ target }) => { form.open = target.open; onMap(); if (target.open && !known.sources) fetchedSources(); } },
    h('summary', { text: 'Get data from a source' }),
    h('p', { class: 'why', text: `Nothing is fetched by itself. When you press a button here, this machine asks the sources you name, and no other. ${sources.length ? '' : 'Drop a list of sources (sources.toml) on this page to choose them by name.'}` }),
    known.sources?.problem && h('p', { class: 'broken', text: known.sources.problem.words }),
    h('h3', { text: 'Where' }), wherePart(),
    h('h3', { text: 'What' }), MODELS.map((model) => sourceField(model, sources)),
    h('label', { class: 'check' }, h('input', { type: 'checkbox', id: 'gather-standing', checked: form.standing, onchange: ({ target }) => change({ standing: target.checked }) }), 'Outline trees and buildings where the two models differ'),
    h('div', { class: 'setting' }, h('label', { for: 'gather-unit', text: 'Heights, where the files do not say' }),
      h('select', { id: 'gather-unit', onchange: ({ target }) => change({ unit: target.value }) }, [['', 'ask me'], ['ft', 'feet'], ['us-ft', 'US survey feet'], ['m', 'metres']].map(([value, text]) => h('option', { value, text, selected: form.unit === value })))),
    form.features.map((each, n) => featuresField(each, n, sources)),
    h('div', { class: 'row' }, h('button', { type: 'button', id: 'gather-more', text: 'Add fields, buildings, water …', onclick: () => change({ features: [...form.features, { role: 'parcels', source: '', collection: '' }] }) })),
    h('div', { class: 'row' }, going() ? h('button', { type: 'button', id: 'gather-cancel', text: 'Cancel', onclick: () => tried(() => remove('/api/gather')) })
      : h('button', { type: 'button', id: 'gather-size', text: 'Ask how large it is', onclick: askSize })),
    gather && progressPart(gather));
}

function wherePart() {
  const fields = (known.state?.files ?? []).some(({ used_as }) => used_as === 'parcels') || known.drawn.features.some(({ properties }) => properties.what === 'field');
  if (!fields) form.where = 'circle';
  const way = (value, text) => h('label', { class: 'check' }, h('input', { type: 'radio', name: 'gather-where', id: `gather-where-${value}`, value, checked: form.where === value, onchange: () => change({ where: value }) }), text);
  const text = (id, title, placeholder) => h('div', { class: 'setting' }, h('label', { for: `gather-${id}`, text: title }), h('input', { type: 'text', id: `gather-${id}`, value: form[id], placeholder, onchange: ({ target }) => change({ [id]: target.value.trim() }) }));
  return h('div', {}, fields && [way('fields', 'Round the fields'), way('circle', 'Round a place')],
    form.where === 'circle' && [
      text('middle', 'Latitude, longitude', '43.0124, -78.1502'), text('radius', 'Out to', usual().radius),
      known.state?.model?.state === 'ready' && h('div', { class: 'row' }, h('button', { type: 'button', id: 'gather-draw', text: 'Draw the circle on the map', onclick: () => draw({ ...CIRCLE, take: drawn }) })),
    ],
    text('halo', 'Land round it, for shade and water', usual().halo));
}

function drawn({ lat, lng }, radius) {
  change({ middle: `${lat.toFixed(6)}, ${lng.toFixed(6)}`, radius: feet() ? `${Math.round(radius / FOOT_M)} ft` : `${Math.round(radius)} m` });
}

function sourceField(model, sources) {
  const fit = sources.filter(({ kind }) => model.kinds.includes(kind)), now = form.picked[model.id] ?? '', id = `gather-${model.id}`;
  const chosen = fit.some(({ name }) => name === now) ? now : now && OTHER;
  return h('div', { class: 'setting' }, h('label', { for: id, text: model.title }),
    h('select', { id, onchange: ({ target }) => change({ picked: { ...form.picked, [model.id]: target.value === OTHER ? 'https://' : target.value } }) },
      options(fit, chosen)),
    chosen === OTHER && h('input', { type: 'text', class: 'wide', id: `${id}-address`, 'aria-label': `Address of ${model.title}`, placeholder: model.such, value: now, onchange: ({ target }) => change({ picked: { ...form.picked, [model.id]: target.value.trim() } }) }));
}

const options = (fit, chosen) => [h('option', { value: '', text: 'not wanted' }), ...fit.map((source) => h('option', { value: source.name, selected: source.name === chosen, text: `${source.name} (${source.host.replace(/:(443|80)$/, '')})` })), h('option', { value: OTHER, selected: chosen === OTHER, text: 'an address …' })];

function featuresField(each, n, sources) {
  const fit = sources.filter(({ kind }) => ['features', 'file'].includes(kind)), chosen = fit.some(({ name }) => name === each.source) ? each.source : each.source && OTHER;
  const put = (part) => change({ features: form.features.map((other, k) => (k === n ? { ...other, ...part } : other)) });
  return h('fieldset', { class: 'features-wanted' }, h('legend', { text: 'Used as' }),
    h('div', { class: 'file-line' }, h('select', { id: `gather-role-${n}`, 'aria-label': 'What it is used as', onchange: ({ target }) => put({ role: target.value }) }, known.roles.filter(({ kind }) => kind === 'features').map(({ id, title }) => h('option', { value: id, text: title, selected: id === each.role }))),
      h('select', { id: `gather-from-${n}`, 'aria-label': 'Source', onchange: ({ target }) => put({ source: target.value === OTHER ? 'https://' : target.value }) }, options(fit, chosen))),
    chosen === OTHER && h('input', { type: 'text', class: 'wide', id: `gather-address-${n}`, 'aria-label': 'Address of a service or file', placeholder: 'https://…/collections/parcels, or a .geojson or .gpkg', value: each.source, onchange: ({ target }) => put({ source: target.value.trim() }) }),
    h('div', { class: 'row' }, h('label', { class: 'inline' }, 'collection, where the service has several ', h('input', { type: 'text', class: 'short', id: `gather-collection-${n}`, value: each.collection, onchange: ({ target }) => put({ collection: target.value.trim() }) })),
      h('button', { type: 'button', class: 'plain', text: 'leave out', onclick: () => change({ features: form.features.filter((_, k) => k !== n) }) })));
}

function progressPart(gather) {
  const { state, step, lines, replaces, files, problem } = gather;
  if (state === 'running') return h('p', { role: 'status' }, h('progress', { ...(step === 'fetch' && { value: gather.share ?? 0, max: 1 }), 'aria-label': 'Fetching' }), ` ${gather.words}`);
  if (state === 'failed') return h('p', { class: 'broken', role: 'status', text: problem?.words ?? gather.words });
  if (state === 'cancelled') return h('p', { class: 'soft', text: 'Cancelled. Files that had come whole are kept; nothing half is left.' });
  const list = (of) => h('ul', { class: 'plain-list' }, of.map((words) => h('li', { text: words })));
  if (step === 'fetch') return h('div', { role: 'status' }, h('p', {}, h('strong', { text: 'Fetched:' })), list(files));
  if (asked !== JSON.stringify(wish())) return h('p', { class: 'soft', text: 'What is wanted was changed since its size was asked for.' });
  const size = gather.bytes ? `Fetch about ${(gather.bytes / 1e6).toFixed(gather.bytes < 1e7 ? 1 : 0)} MB` : 'Fetch it';
  return h('div', { role: 'status' }, list(lines),
    replaces.length > 0 && h('label', { class: 'check' }, h('input', { type: 'checkbox', id: 'gather-replace', checked: form.replace, onchange: ({ target }) => change({ replace: target.checked }) }), `Replace what is in the folder: ${replaces.join(', ')}`),
    h('div', { class: 'row' }, h('button', { type: 'button', class: 'main', id: 'gather-fetch', disabled: replaces.length > 0 && !form.replace, text: size, onclick: fetchIt })));
}

/** What is asked of the server. */
function wish() {
  const { middle, radius, halo, where, picked, features, standing, unit } = form;
  const given = Object.fromEntries(MODELS.map(({ id }) => [id, picked[id] ?? '']));
  return { ...given, circle: where === 'circle' ? `${middle}:${withUnit(radius) || usual().radius}` : null, halo: withUnit(halo) || usual().halo, features: features.filter(({ source }) => source), standing, unit };
}

async function askSize() {
  if (form.where === 'circle' && !form.middle) return set('gather', { step: 'size', state: 'failed', words: 'Say where: latitude and longitude of the place, such as 43.0124, -78.1502.' });
  form.replace = false;
  asked = JSON.stringify(wish());
  announce('Asking the sources how large it would be');
  const now = await tried(() => post('/api/gather/size', wish()));
  return now?.state && set('gather', now);
}

async function fetchIt() {
  const now = await tried(() => post('/api/gather', { ...wish(), replace: form.replace }));
  if (now?.state) set('gather', now);
}

/** The circle on the map while the panel is open. */
function onMap() {
  const [lat, lon] = form.middle.split(',').map(Number), [amount, word] = (/^([\d.]+)\s*(ft|m)?$/.exec(form.radius || usual().radius) ?? []).slice(1);
  const there = form.open && form.where === 'circle' && form.middle && Math.abs(lat) <= 85 && Math.abs(lon) <= 180 && amount;
  showCircle(there ? { lat, lon, radius: Number(amount) * ((word ?? (feet() ? 'ft' : 'm')) === 'ft' ? FOOT_M : 1) } : null, known.state?.model?.state !== 'ready');
}
