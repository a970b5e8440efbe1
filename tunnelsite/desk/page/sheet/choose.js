// Choose: the answer in words, a table that sorts, why places fell out, and the pins A, B, C.

import { h } from '../look/dom.js';
import { depth, length, pitch, score, share, volume } from '../look/words.js';
import { show } from '../map/found.js';
import { known, set } from '../store.js';
import { take } from '../hand.js';
import { pinForm, pinList } from './pins.js';

const steeper = (c) => (c.pitch_along_pct == null ? null : Math.max(Math.abs(c.pitch_along_pct), Math.abs(c.pitch_across_pct)));
const COLUMNS = [
  { id: 'rank', title: 'Option', of: (o) => o.rank, write: String },
  { id: 'score', title: 'Score', of: (o) => o.score, write: score, down: true },
  { id: 'field', title: 'Field', of: (o) => o.parcel ?? '', write: String, words: true },
  { id: 'room', title: 'Room to shift', of: (o) => o.room_m, write: length, down: true },
  { id: 'pitch', title: 'Steeper pitch', of: (o) => steeper(o.columns), write: (v) => pitch(v).replace(' per 12 ft', '/12 ft').replace(/ \(.*/, '') },
  { id: 'cut', title: 'Cut', of: (o) => o.columns.cut_m3, write: volume },
  { id: 'deepest', title: 'Deepest cut', of: (o) => o.columns.max_cut_m, write: depth },
  { id: 'light', title: 'Darkest month', of: (o) => o.columns.beam_share_worst, write: share, down: true },
  { id: 'house', title: 'House', of: (o) => o.place.house, write: String, words: true },
];
const sorted = { by: 'rank', down: false };

export function choosePart() {
  const { answer } = known;
  if (!answer) return [h('p', { text: 'No answer yet. Under “Find places” every place for the house is tried.' })];
  const several = new Set(answer.options.map(({ place }) => place.house)).size > 1, columns = COLUMNS.filter(({ id }) => id !== 'house' || several);
  return [
    answer.first_look && h('p', { class: 'stale', text: 'First look: the exact answer follows.' }),
    (answer.headline ?? []).map((words, n) => h('p', { class: n ? '' : 'headline', text: words })),
    answer.options.length > 0 && table(answer.options, columns),
    answer.verdict?.words && h('p', {}, answer.options.length > 1 && h('strong', { text: `${capital(answer.verdict.word)}: ` }), answer.verdict.words),
    answer.options[0]?.words && h('details', { open: true }, h('summary', { text: 'The first option in words' }), h('ul', { class: 'plain-list' }, answer.options[0].words.map((words) => h('li', { text: words })))),
    answer.assessed_pct != null && h('p', { class: 'why', text: `Scores stand on ${Math.round(answer.assessed_pct)} % of the weight; what was not given is listed under “Find places”.` }),
    h('h3', { text: 'Pins' }), pinList(),
    folded('Places that break a limit', answer.compromises, (option) => h('li', {}, h('button', { type: 'button', class: 'plain', text: `c${option.rank}: ${option.breaks}`, onclick: () => hold(option) }))),
    folded('What would let more places pass', answer.relax, ({ words }) => h('li', { text: words })),
    folded('Why places fell out', answer.rejections, ({ title, placements }) => h('li', {}, h('strong', { text: `${capital(title)}: ` }), `${placements.toLocaleString('en-US')} placements`)),
    folded('Cautions and notes', [...(answer.cautions ?? []), ...(answer.notes ?? [])], (words) => h('li', { text: words })),
  ];
}

const capital = (words) => (words ? words[0].toUpperCase() + words.slice(1) : '');

function folded(title, entries, row) {
  return entries?.length > 0 && h('details', {}, h('summary', { text: `${title} (${entries.length})` }), h('ul', { class: 'plain-list' }, entries.map(row)));
}

function hold(option) {
  show(option.place);
  take(option.place);
}

function table(options, columns) {
  const column = columns.find(({ id }) => id === sorted.by) ?? columns[0];
  const value = (option) => column.of(option) ?? (sorted.down ? -Infinity : Infinity);
  const rows = [...options].sort((a, b) => (column.words ? String(value(a)).localeCompare(value(b)) : value(a) - value(b)) * (sorted.down ? -1 : 1));
  const sort = (each) => {
    sorted.down = sorted.by === each.id ? !sorted.down : Boolean(each.down);
    sorted.by = each.id;
    set('answer', known.answer);
  };
  const head = columns.map((each) => h('th', { scope: 'col', 'aria-sort': each.id === sorted.by ? (sorted.down ? 'descending' : 'ascending') : 'none' }, h('button', { type: 'button', class: 'plain', id: `sort-${each.id}`, onclick: () => sort(each) }, each.title, each.id === sorted.by ? (sorted.down ? ' ↓' : ' ↑') : '')));
  // what is used most stands first: on a phone the rest is scrolled to
  const rank = (option) => h('th', { scope: 'row' }, h('button', { type: 'button', id: `option-${option.rank}`, 'aria-label': `Option ${option.rank}${option.parcel ? ` in ${option.parcel}` : ''}: show and take in hand`, text: option.rank, onclick: () => hold(option) }));
  const pin = (option) => h('td', {}, h('button', { type: 'button', 'aria-label': `Pin option ${option.rank}`, text: 'Pin', onclick: () => pinForm(option.place) }));
  const cells = (option) => [rank(option), pin(option), ...columns.slice(1).map((each) => h('td', { class: each.words ? 'words' : '', text: each.write(each.of(option)) }))];
  return h('div', { class: 'table-box', tabindex: '0', role: 'region', 'aria-label': 'Options' }, h('table', { class: 'options' }, h('thead', {}, h('tr', {}, head[0], h('th', { scope: 'col', text: 'Pin' }), head.slice(1))),
    h('tbody', {}, rows.map((option) => h('tr', {}, cells(option))))));
}
