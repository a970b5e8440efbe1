// Find places: what was not given, run and cancel, what if, and the runs kept beside the project.

import { h } from '../look/dom.js';
import { post, get, remove } from '../server.js';
import { fetched, fetchedLayers, known, set, tried } from '../store.js';
import { more } from './ground.js';
import { houseSizes, weightSliders } from './house.js';
import { monthsStrip } from './months.js';
import { fieldsOf } from './parts.js';

let whatIf = {}; // settings tried but not kept
const WORKING = 'Working it out …';
let said = '';

export function findPart() {
  const { state, answer, run } = known, going = run && !['done', 'cancelled', 'failed'].includes(run.state);
  return [
    (answer?.not_assessed ?? []).length > 0 && [h('h3', { text: 'Not given, so not assessed' }), h('ul', { class: 'plain-list' }, answer.not_assessed.map((words) => h('li', { text: words })))],
    state?.stale && answer && h('p', { class: 'stale', text: 'Settings or drawings changed since this answer.' }),
    !going && state?.cost && costPart(state.cost),
    h('div', { class: 'row' },
      going ? h('button', { type: 'button', id: 'cancel-run', text: 'Cancel', onclick: cancelRun })
        : h('button', { type: 'button', class: 'main', id: 'find-places', text: answer ? 'Find places again' : 'Find places', onclick: startRun })),
    run && h('p', { class: run.state === 'failed' ? 'broken' : 'soft', text: runWords(run) }),
    answer?.first_look && h('p', { class: 'stale', text: answer.first_look_words || 'First look, from a coarser grid. The exact answer takes its place.' }),
    answer && !answer.first_look && h('p', { class: 'soft', text: [answer.what_if ? 'What if' : 'Exact answer', answer.took_s != null ? `${answer.took_s.toFixed(answer.took_s < 10 ? 1 : 0)} s` : ''].filter(Boolean).join(', ') }),
    more(fieldsOf('find'), 'More about the search'),
    answer && whatIfPart(),
    runsPart(),
  ];
}

/** What a run would need, and how to need less. */
function costPart({ words, fits, advice }) {
  return h('div', { class: advice.length ? 'stale' : '' }, h('p', { class: fits ? (advice.length ? '' : 'soft') : 'broken', text: words }), advice.length > 0 && h('ul', { class: 'plain-list' }, advice.map((text) => h('li', { text }))));
}

export function runWords(run) {
  if (run.state === 'cancelled') return 'Cancelled. Nothing was left half done; the answer before it stands.';
  if (run.state === 'done') return run.words || 'Done.';
  return run.words || run.step_words; // the words begin with the step
}

export async function startRun() {
  const run = await tried(() => post('/api/run'));
  if (run?.state) set('run', run);
}

export async function cancelRun() {
  await tried(() => remove('/api/run'));
}

function whatIfPart() {
  const fields = known.settings?.fields ?? [], value = (name) => whatIf[name] ?? fields.find((field) => field.name === name)?.value;
  const weights = (known.settings?.weights ?? []).map((weight) => ({ ...weight, weight: whatIf.weight?.[weight.id] ?? weight.weight }));
  const trying = Boolean(known.answer?.what_if || Object.keys(whatIf).length);
  return h('details', { open: trying, class: 'what-if' }, h('summary', { text: 'What if?' }),
    h('p', { class: 'why', text: 'Try other months, sizes and weights on what was measured; for other months the light is computed anew. The kept answer stays, and both can stand on the map.' }),
    (said || trying) && h('div', { class: 'stale what-came' }, said && h('p', { role: 'status', text: said }),
      trying && said !== WORKING && h('div', { class: 'row' }, h('button', { type: 'button', class: 'main', text: 'Keep this', onclick: keepIt }), h('button', { type: 'button', text: 'Back to the kept answer', onclick: backFromIt }))),
    h('h3', { text: 'Crop months' }), monthsStrip(value('crop_months'), (period) => tryIt({ crop_months: period }), 'if-months'),
    h('h3', { text: 'House sizes' }), houseSizes(value('house') ?? [], (house) => tryIt({ house }), 'if-house'),
    h('h3', { text: 'What matters' }), weightSliders(weights, (id, weight) => tryIt({ weight: { ...whatIf.weight, [id]: weight } }), 'if-weight'),
  );
}

async function tryIt(change) {
  whatIf = { ...whatIf, ...change };
  said = WORKING;
  set('compared', known.compared);
  const before = known.answer?.what_if ? known.before : known.answer, came = await tried(() => post('/api/whatif', { set: whatIf }));
  said = came?.words ?? '';
  if (!came) return set('compared', known.compared);
  if (came.answer) {
    set('compared', came.compared ?? null);
    set('before', before);
    set('answer', came.answer);
    await fetchedLayers();
  } else set('answer', known.answer);
}

async function keepIt() {
  if (await tried(() => post('/api/whatif/keep'))) await forget();
}

async function backFromIt() {
  if (await tried(() => remove('/api/whatif'))) await forget();
}

async function forget() {
  whatIf = {};
  said = '';
  set('before', null);
  set('compared', null);
  await Promise.all([fetched('settings'), fetched('answer'), fetchedLayers()]);
}

function runsPart() {
  const runs = known.state?.runs ?? [], { compared } = known;
  if (!runs.length) return null;
  const row = (run) => {
    const now = run.id === known.state.current;
    return h('li', {}, h('p', {}, h('strong', { text: run.words }), now ? ' (shown)' : '', h('span', { class: 'soft', text: ` ${run.options} ${run.options === 1 ? 'option' : 'options'}${run.best != null ? `, best ${run.best.toFixed(1)}` : ''}` })),
      run.changes?.length > 0 && h('p', { class: 'why', text: run.changes.join('; ') }),
      !now && h('div', { class: 'row' }, h('button', { type: 'button', text: 'Go back to this', 'aria-label': `Go back to this: ${run.words}`, onclick: () => goBack(run.id) }),
        h('button', { type: 'button', text: 'Compare on the map', 'aria-label': `Compare on the map: ${run.words}`, onclick: () => compare(run.id) })));
  };
  return [h('h3', { text: 'Answers kept' }), compared && comparedPart(compared), h('ul', { class: 'runs' }, runs.map(row))];
}

function comparedPart(compared) {
  return h('div', { class: 'compared' }, h('p', { text: 'On the map: dashed outlines are the answer before.' }), h('ul', {}, (compared.words ?? []).map((words) => h('li', { text: words[0].toUpperCase() + words.slice(1) }))),
    (compared.settings ?? []).length > 0 && h('table', {}, h('caption', { text: 'Settings that differ' }), h('thead', {}, h('tr', {}, ['Setting', 'Before', 'Now'].map((text) => h('th', { scope: 'col', text })))),
      h('tbody', {}, compared.settings.map(({ title, a, b }) => h('tr', {}, h('th', { scope: 'row', text: title }), h('td', { text: worded(a) }), h('td', { text: worded(b) }))))),
    h('button', { type: 'button', text: 'Stop comparing', onclick: () => { set('before', null); set('compared', null); } }));
}

/** Another page went to another answer: what was compared with the one before says nothing of it. */
export function stopComparing() {
  if (!known.compared?.b || known.compared.b.run === known.answer?.run) return;
  set('before', null);
  set('compared', null);
}

const worded = (value) => (value === null || value === undefined ? 'not given' : typeof value === 'object' ? JSON.stringify(value).replace(/["{}[\]]/g, '').replaceAll(',', ', ') : String(value));

async function compare(id) {
  const came = await tried(() => get(`/api/runs/compare?${new URLSearchParams({ a: id, b: known.state.current })}`));
  if (!came) return;
  set('before', came.a);
  set('compared', came);
}

async function goBack(id) {
  if (await tried(() => post(`/api/runs/${encodeURIComponent(id)}/open`, { settings: true }))) await forget();
}
