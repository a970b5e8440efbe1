// The sheet: six headings, each with one line of state; any can be opened at any time.

import { fill, h, typing } from '../look/dom.js';
import { known, on } from '../store.js';
import { choosePart } from './choose.js';
import { findPart } from './find.js';
import { groundPart } from './ground.js';
import { handOverPart } from './hand_over.js';
import { housePart } from './house.js';
import { question } from './parts.js';
import { surroundingsPart } from './surroundings.js';

// what each heading shows, and which copies it is made from
const PARTS = {
  ground: [groundPart, 'state roles settings drawn gather sources'],
  surroundings: [surroundingsPart, 'state roles settings drawn'],
  house: [housePart, 'state settings'],
  find: [findPart, 'state settings answer run compared'],
  choose: [choosePart, 'state answer'],
  hand_over: [handOverPart, 'state packet'],
};
const TITLES = { ground: 'Ground', surroundings: 'Surroundings', house: 'House and season', find: 'Find places', choose: 'Choose', hand_over: 'Hand over' };
const MARKS = { ok: ['✓', 'ready'], missing: ['!', 'something is missing'], doubt: ['?', 'something is in doubt'], empty: ['·', 'nothing yet'] };
let open = null, late = false;

export function startSheet() {
  const sheet = document.getElementById('sheet');
  for (const id of Object.keys(PARTS)) {
    sheet.append(h('section', { class: 'heading', id: `part-${id}` },
      h('h2', {}, h('button', { type: 'button', id: `head-${id}`, 'aria-expanded': 'false', 'aria-controls': `in-${id}`, onclick: () => openPart(open === id ? null : id) })),
      h('div', { id: `in-${id}`, class: 'inside', hidden: true })));
  }
  // what was typed is taken: the field may be drawn anew
  sheet.addEventListener('change', ({ target }) => target.matches('input') && target.setAttribute('value', target.value), true);
  sheet.addEventListener('focusout', () => setTimeout(() => late && open && drawInside(open)));
  on('state', drawHeads);
  for (const [id, [, names]] of Object.entries(PARTS)) on(names, () => open === id && drawInside(id));
  drawHeads();
}

/** Open one heading (and close the others); null closes all. */
export function openPart(id) {
  open = id;
  for (const each of Object.keys(PARTS)) {
    document.getElementById(`head-${each}`).setAttribute('aria-expanded', String(each === id));
    document.getElementById(`in-${each}`).hidden = each !== id;
  }
  if (!id) return;
  drawInside(id);
  const sheet = document.getElementById('sheet');
  sheet.scrollTop = document.getElementById(`part-${id}`).offsetTop - sheet.offsetTop; // only the sheet scrolls, never the page
}

function drawHeads() {
  const said = new Map((known.state?.headings ?? []).map((heading) => [heading.id, heading]));
  for (const id of Object.keys(PARTS)) {
    const heading = said.get(id), [mark, word] = MARKS[heading?.state ?? 'empty'];
    fill(document.getElementById(`head-${id}`), h('span', { class: `mark ${heading?.state ?? 'empty'}`, 'aria-hidden': 'true', text: mark }),
      h('span', { class: 'head-words' }, h('span', { class: 'head-title', text: TITLES[id] }), h('span', { class: 'quiet', text: ` (${word}) ` }), h('span', { class: 'head-line', text: heading?.line ?? '' })));
  }
}

function drawInside(id) {
  const box = document.getElementById(`in-${id}`);
  late = typing(box); // then it is drawn when the field is left
  if (late) return;
  const unfolded = new Map([...box.querySelectorAll('details')].map((each) => [each.dataset.name, each.open]));
  const asked = (known.state?.questions ?? []).filter(({ heading }) => heading === id);
  fill(box, asked.map(question), PARTS[id][0]());
  for (const each of box.querySelectorAll('details')) {
    each.dataset.name = each.querySelector('summary').textContent.replace(/ \(\d+\)$/, '');
    if (unfolded.has(each.dataset.name)) each.open = unfolded.get(each.dataset.name);
  }
}
