// The desk: starts the three parts and listens to the server.

import { covered, startHand, take, inHand } from './hand.js';
import { announce, fill, h, notice } from './look/dom.js';
import { unit } from './look/words.js';
import { startCircle } from './map/circle.js';
import { startDrawing, redo, undo } from './map/drawing.js';
import { showAll, startFound } from './map/found.js';
import { startLabels } from './map/labels.js';
import { layersPane, startLayers } from './map/layers.js';
import { kindsPane, startSketch } from './map/sketch.js';
import { startTap } from './map/tap.js';
import { fetchedBackground, startBackground } from './map/background.js';
import { openMap } from './map/view.js';
import { listen, put } from './server.js';
import { startBegin, startDrops } from './sheet/begin.js';
import { cancelRun, runWords, stopComparing } from './sheet/find.js';
import { openPart, startSheet } from './sheet/sheet.js';
import { fetched, fetchedLayers, known, on, set, tried } from './store.js';
import { startStrip } from './strip/strip.js';

const map = openMap(document.getElementById('map'));
startLabels(map, covered);
startBackground(map);
startLayers(map);
startFound(map);
startDrawing(map);
startSketch(map);
startCircle(map);
startHand(map);
startTap(map);
startSheet();
startStrip();
startBegin(document.querySelector('.map-part'));
startDrops();
tools();
thumb();
head();

let seen = '', drew = false;
on('steps', () => { drew = true; }); // the user who draws has the map where it is wanted: it must not jump under the hand
on('state', (state) => {
  Object.assign(document.getElementById('farm'), { textContent: state.begun ? state.name : '', title: state.folder });
  const view = JSON.stringify(state.view);
  if (state.view && view !== seen && !(drew && seen)) showAll(state.view);
  else if (!state.view && !seen) map.setView([20, 0], 3);
  seen = view;
  if (state.run || known.run?.state === 'failed') set('run', state.run);
  if (state.packet) set('packet', state.packet);
});
on('state', (state) => {
  const busy = document.getElementById('map-busy'), shown = known.layers.length > 0 || !state.begun || state.model.state === 'ready';
  busy.hidden = shown;
  busy.textContent = shown ? '' : { reading: 'Reading the ground …', none: 'No ground on the map yet. Add a terrain model under Ground.', failed: 'The ground cannot be shown yet: see Ground.' }[state.model.state];
});
let fitted = false;
on('features', () => {
  if (!fitted && !drew && known.features.features.length) showAll(known.state?.view); // the fields, as soon as they are there; the view is the user's from then on
  fitted ||= known.features.features.length > 0;
});
on('answer', (answer) => {
  if (!answer?.options.length) return;
  if (!inHand.place || inHand.proposed) take(answer.options[0].place, false, true);
  if (!answer.first_look && !answer.what_if) announce(answer.headline?.[0] ?? '');
});
on('run', drawRun);
document.addEventListener('part', ({ detail }) => showPart(detail));
document.addEventListener('refused', ({ detail }) => notice(detail.map(({ name, words }) => `${name}: ${words}`).join(' ')));

async function everything() {
  await fetched('state');
  const { begun, model, current } = known.state ?? {}, ready = model?.state === 'ready';
  await Promise.all([...['settings', 'roles', 'gather', begun && 'drawn', ready && 'features', current && 'answer'].filter(Boolean).map(fetched), ready && fetchedLayers(), fetchedBackground()]);
}

let project = '', newest = 0;
let down = false;
listen({
  hello: async () => {
    newest = 0; // a desk that was started again counts anew
    await everything();
    if (known.state?.begun) openPartOnce(known.answer ? 'choose' : known.state.headings.find(({ state }) => state === 'missing')?.id ?? 'find');
  },
  state: async () => {
    await fetched('state');
    const now = JSON.stringify([known.state?.files, known.state?.begun]);
    if (now !== project) await fetchedBackground();
    if (now !== project && known.state?.begun) await Promise.all(['roles', 'drawn', ...(known.state.model.state === 'ready' ? ['features'] : [])].map(fetched));
    project = now;
    await fetched('settings');
  },
  drawn: async ({ version }) => {
    newest = version;
    if (version !== known.drawn.version) await fetched('drawn');
    if (known.drawn.version < newest) await fetched('drawn'); // what was fetched first came last
  },
  run: (run) => set('run', run),
  answer: async () => {
    await Promise.all([fetched('answer'), fetchedLayers(), fetched('state')]);
    stopComparing();
    if (!chosen) openPart('choose');
    chosen = true;
  },
  model: async ({ state }) => {
    await Promise.all([fetched('state'), ...(state === 'ready' ? [fetchedLayers(), fetched('features')] : [])]);
  },
  gather: (gather) => set('gather', gather),
  packet: async (packet) => {
    set('packet', packet);
    if (packet.state === 'done') await fetched('state');
  },
}, (lost) => {
  if (lost) notice('The desk’s server does not answer. What was drawn is safe in the folder. If this stays, start it again with “tunnelsite desk” and open the address it shows.');
  else if (down) notice('');
  down = lost;
});

let opened = false, chosen = false;
function openPartOnce(id) {
  if (!opened) openPart(id);
  opened = true;
}

function drawRun(run) {
  const box = document.getElementById('run');
  const going = run && !['done', 'cancelled', 'failed'].includes(run.state);
  if (!going) return fill(box, run?.state === 'failed' && h('button', { type: 'button', class: 'plain broken', text: 'Run failed: why?', title: runWords(run), onclick: () => { showPart('sheet'); openPart('find'); } }));
  return fill(box, h('progress', { value: run.share ?? 0, max: 1, 'aria-label': 'Run' }), h('span', { class: 'run-words', text: runWords(run) }), h('button', { type: 'button', id: 'cancel', text: 'Cancel', onclick: cancelRun }));
}

function tools() {
  const box = document.getElementById('map-tools');
  let pane = null;
  const close = () => {
    pane?.remove();
    pane = null;
    box.querySelectorAll('.menu').forEach((button) => button.setAttribute('aria-expanded', 'false'));
  };
  const menu = (id, text, inside) => h('button', { type: 'button', id, class: 'menu', 'aria-expanded': 'false', text, onclick: ({ target }) => {
    const open = target.getAttribute('aria-expanded') === 'true';
    close();
    if (open) return;
    target.setAttribute('aria-expanded', 'true');
    pane = h('div', { class: 'pane', 'data-of': id, onkeydown: (event) => { if (event.key === 'Escape') { close(); target.focus(); } } }, inside());
    target.after(pane);
  } });
  const back = h('button', { type: 'button', id: 'undo', text: 'Undo', disabled: true, onclick: undo }), again = h('button', { type: 'button', id: 'redo', text: 'Redo', disabled: true, onclick: redo });
  on('steps', (steps) => { back.disabled = !steps.undo; again.disabled = !steps.redo; });
  fill(box, menu('draw', 'Draw', () => kindsPane(close)), menu('layers', 'Layers', layersPane), back, again,
    h('button', { type: 'button', id: 'whole-farm', text: 'Whole farm', onclick: () => showAll(known.state?.view) }));
  on('layers background', () => pane?.dataset.of === 'layers' && fill(pane, layersPane())); // a layer that comes later is seen at once
  map.on('click movestart', close);
  L.DomEvent.disableClickPropagation(box);
  L.DomEvent.disableScrollPropagation(box);
}

/** On a phone, one part of the desk at a time. */
function showPart(part) {
  document.getElementById('desk').dataset.part = part;
  document.querySelectorAll('.thumb button').forEach((each) => each.setAttribute('aria-pressed', String(each.dataset.part === part)));
  map.invalidateSize({ animate: false });
}

function thumb() {
  document.querySelectorAll('.thumb button').forEach((button) => button.addEventListener('click', () => showPart(button.dataset.part)));
  new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(document.getElementById('map'));
}

function head() {
  const choice = document.getElementById('units');
  on('state', () => { choice.value = unit.now; });
  choice.addEventListener('change', async () => {
    await tried(() => put('/api/units', { units: choice.value }));
    await Promise.all([fetched('answer'), fetched('settings'), fetched('features'), fetchedLayers()]);
  });
}
