// Pins: places kept as A, B, C with a name and a note, and their differences side by side.

import { dialog, h } from '../look/dom.js';
import { show } from '../map/found.js';
import { score, sizeWords } from '../look/words.js';
import { get, put, remove } from '../server.js';
import { known, tried } from '../store.js';
import { take } from '../hand.js';

const LETTERS = ['A', 'B', 'C'];

/** Ask for letter, name and note, and keep the place. `letter` is given where a pin is changed. */
export function pinForm(place, letter = null) {
  let pins = known.state?.pins ?? [];
  const free = LETTERS.find((each) => !pins.some((pin) => pin.letter === each)) ?? 'A';
  const old = pins.find((pin) => pin.letter === letter);
  const which = h('select', { id: 'pin-letter', disabled: Boolean(letter) }, LETTERS.map((each) => h('option', { value: each, selected: each === (letter ?? free), text: pins.some((pin) => pin.letter === each) && each !== letter ? `${each} (in place of ${pins.find((pin) => pin.letter === each).name || 'what it holds'})` : each })));
  const name = h('input', { type: 'text', id: 'pin-name', maxlength: 60, value: old?.name ?? '' }), note = h('textarea', { id: 'pin-note', rows: 3, maxlength: 2000, value: old?.note ?? '' });
  const taken = h('p', { class: 'broken', role: 'alert' });
  const keep = async (event) => {
    event.preventDefault();
    if (!letter && !pins.some((pin) => pin.letter === which.value) && known.state.pins.some((pin) => pin.letter === which.value)) {
      taken.textContent = `${which.value} was pinned on another page meanwhile. Keep it again to put this in its place, or choose another letter.`;
      pins = known.state.pins;
      return;
    }
    const { lon, lat, bearing_deg, house } = place;
    if (await tried(() => put(`/api/pins/${which.value}`, { place: { lon, lat, bearing_deg, house }, name: name.value, note: note.value }))) box.close();
  };
  const box = dialog('Pin this place', h('form', { class: 'form', onsubmit: keep }, h('label', { for: 'pin-letter', text: 'Letter' }), which, h('label', { for: 'pin-name', text: 'Name' }), name, h('label', { for: 'pin-note', text: 'Note' }), note, taken,
    h('div', { class: 'row' }, h('button', { type: 'submit', class: 'main', id: 'pin-keep', text: 'Keep the pin' }))));
  name.focus();
}

const same = (a, b) => ['lon', 'lat', 'bearing_deg', 'house'].every((name) => a[name] === b[name]);

/** The house of a pin and where it stands in the answer that is shown; one that is not in it has the score it was pinned with. */
function standing({ place, score: then }) {
  const now = known.answer?.options.find((option) => same(option.place, place)), size = sizeWords(place.house);
  if (now) return `${size}, option ${now.rank}, score ${score(now.score)}`;
  return `${size}, ${then == null ? 'no score' : `score ${score(then)} when it was pinned`}`;
}

export function pinList() {
  const pins = known.state?.pins ?? [];
  if (!pins.length) return h('p', { class: 'soft', text: 'None yet. Pin up to three places as A, B and C: options, or places you tried by hand.' });
  const row = (pin) => h('li', {}, h('p', {}, h('span', { class: 'letter', text: pin.letter }), h('strong', { text: pin.name || `Pin ${pin.letter}` }), h('span', { class: 'soft', text: ` ${standing(pin)}` })),
    pin.note && h('p', { class: 'why', text: pin.note }),
    h('div', { class: 'row' }, h('button', { type: 'button', 'aria-label': `Take in hand: ${pin.letter}`, text: 'Take in hand', onclick: () => { show(pin.place); take(pin.place); } }), h('button', { type: 'button', 'aria-label': `Change ${pin.letter}`, text: 'Change', onclick: () => pinForm(pin.place, pin.letter) }),
      h('button', { type: 'button', 'aria-label': `Remove ${pin.letter}`, text: 'Remove', onclick: () => tried(() => remove(`/api/pins/${pin.letter}`)) })));
  return h('div', {}, h('ul', { class: 'pins' }, pins.map(row)), pins.length > 1 && h('div', { class: 'row' }, h('button', { type: 'button', id: 'side-by-side', text: 'Side by side', onclick: sideBySide })));
}

/** The table's roles stand written out: a phone lays its rows out otherwise, and then forgets them. */
async function sideBySide() {
  const said = await tried(() => get('/api/pins/compare'));
  if (!said) return;
  const names = new Map((known.state?.pins ?? []).map((pin) => [pin.letter, pin.name]));
  dialog('Side by side', h('ul', { class: 'plain-list' }, (said.words ?? []).map((words) => h('li', { text: words[0].toUpperCase() + words.slice(1) }))),
    h('div', { class: 'table-box', tabindex: '0', role: 'region', 'aria-label': 'Differences' }, h('table', { class: 'differences', role: 'table' },
      h('thead', { role: 'rowgroup' }, h('tr', { role: 'row' }, h('th', { scope: 'col', role: 'columnheader', text: '' }), said.letters.map((letter) => h('th', { scope: 'col', role: 'columnheader' }, h('span', { class: 'letter', text: letter }), names.get(letter) ?? '')))),
      h('tbody', { role: 'rowgroup' }, said.rows.map(({ title, values, better }) => h('tr', { role: 'row' }, h('th', { scope: 'row', role: 'rowheader', text: title }), said.letters.map((letter) => h('td', { role: 'cell', class: better === letter ? 'better' : '' }, values[letter] ?? 'not known', better === letter && h('span', { class: 'soft', text: said.letters.length > 2 ? ' (best)' : ' (better)' })))))))));
}
