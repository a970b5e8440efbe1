// The strip of the year: which months hold crops. Click or drag over months, or arrow keys with shift on one of them.

import { h } from '../look/dom.js';
import { MONTHS, MONTH_NAMES } from '../look/words.js';

const LAST_DAY = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
const NUMBER = (word) => (/^\d+$/.test(word) ? Number(word) : MONTHS.findIndex((name) => word.toLowerCase().startsWith(name.toLowerCase())) + 1);

/** The months 1..12 that a period such as `10-01:04-30` or `Oct:Apr` touches, in its order. */
export function monthsOf(period) {
  const [first, last] = String(period ?? '01-01:12-31').split(':').map((end) => NUMBER(/[A-Za-z]+|\d+/.exec(end.replace(/^\s*\d+\s+(?=[A-Za-z])/, ''))?.[0] ?? '1'));
  const found = [first];
  while (found.at(-1) !== last && found.length < 12) found.push((found.at(-1) % 12) + 1);
  return found;
}

const two = (number) => String(number).padStart(2, '0');

/** The period from the first day of a month to the last of another. */
export const periodOf = (first, last) => `${two(first)}-01:${two(last)}-${LAST_DAY[last - 1]}`;

const begun = new Map(); // the first month of a choice that waits for its last, by the strip's id; the strip may be drawn anew between

/** Twelve cells; `chosen(period)` is called when the hand lets go. Two presses choose: the first month, then the last. */
export function monthsStrip(period, chosen, id) {
  let now = begun.has(id) ? [begun.get(id)] : monthsOf(period);
  const say = h('p', { class: 'why', id: `${id}-say`, 'aria-live': 'polite' });
  const cells = MONTHS.map((name, n) => h('button', { type: 'button', id: `${id}-${n + 1}`, 'aria-describedby': `${id}-say`, 'aria-label': MONTH_NAMES[n], onclick: () => press(n + 1) }, name[0]));
  const press = (month) => {
    if (!begun.has(id)) {
      begun.set(id, month);
      now = [month];
      show();
      return;
    }
    const wanted = periodOf(begun.get(id), month);
    begun.delete(id);
    now = monthsOf(wanted);
    show();
    chosen(wanted);
  };
  const words = () => {
    if (begun.has(id)) return `${MONTH_NAMES[now[0] - 1]} is the first month. Now choose the last one.`;
    if (now.length === 12) return 'Crops all year. Choose the first month, then the last.';
    return `${MONTH_NAMES[now[0] - 1]} to ${MONTH_NAMES[now.at(-1) - 1]}. Choose the first month, then the last, to change it.`;
  };
  const show = () => {
    cells.forEach((cell, n) => cell.setAttribute('aria-pressed', String(now.includes(n + 1))));
    say.textContent = words();
  };
  show();
  return h('div', {}, h('div', { class: 'months', role: 'group', 'aria-label': 'Crop months' }, cells),
    h('div', { class: 'row' }, h('button', { type: 'button', class: 'plain', text: 'All year', onclick: () => { begun.delete(id); now = monthsOf('01-01:12-31'); show(); chosen('01-01:12-31'); } })), say);
}
