// House and season: sizes, kind, ridge, crop months, and what matters.

import { h } from '../look/dom.js';
import { feet, sizeWords } from '../look/words.js';
import { known } from '../store.js';
import { more } from './ground.js';
import { monthsStrip } from './months.js';
import { fieldsOf, setTo, settingField } from './parts.js';

const OWN_FORM = new Set(['house', 'crop_months', 'weight', 'preset']);
const named = (name) => known.settings?.fields.find((field) => field.name === name);

export function housePart() {
  if (!known.settings) return [];
  const rest = fieldsOf('house').filter(({ name }) => !OWN_FORM.has(name));
  const first = rest.filter(({ name }) => ['kind', 'ridge', 'bearing'].includes(name)), others = rest.filter((field) => !first.includes(field));
  const house = named('house'), months = named('crop_months');
  return [
    h('h3', { text: house?.title ?? 'House sizes' }), h('p', { class: 'why', text: 'Width by length. With several, each is tried everywhere and they compete.' }), houseSizes(house?.value ?? [], (value) => setTo('house', value), 'house'),
    first.map(settingField),
    h('h3', { text: months?.title ?? 'Crop months' }), h('p', { class: 'why', text: 'When crops stand in the house: the sun is judged for these months.' }), monthsStrip(months?.value, (value) => setTo('crop_months', value), 'crop-months'),
    presets(),
    h('h3', { text: 'What matters' }), h('p', { class: 'why', text: 'How much each counts in the score. 0 leaves it out; limits hold in any case.' }),
    weightSliders(known.settings.weights, (id, value) => setTo('weight', { [id]: value }), 'weight'),
    more(others, 'More about house and season'),
  ];
}

/** The sizes that compete, each with a way to drop it, and a form for one more. */
export function houseSizes(value, chosen, id) {
  const sizes = [value].flat(), unit = feet() ? 'ft' : 'm';
  const width = h('input', { type: 'number', min: 1, step: 'any', class: 'short', 'aria-label': `Width in ${feet() ? 'feet' : 'metres'}`, placeholder: feet() ? '30' : '9', id: `${id}-width` });
  const length = h('input', { type: 'number', min: 1, step: 'any', class: 'short', 'aria-label': `Length in ${feet() ? 'feet' : 'metres'}`, placeholder: feet() ? '96' : '29', id: `${id}-length` });
  const add = (event) => {
    event.preventDefault();
    if (width.value && length.value) chosen([...sizes, `${width.value}x${length.value}${unit}`]);
  };
  return h('div', {}, h('ul', { class: 'chips' }, sizes.map((size) => h('li', {}, h('span', { text: sizeWords(size) }),
    sizes.length > 1 && h('button', { type: 'button', class: 'plain', 'aria-label': `Drop ${size}`, text: 'drop', onclick: () => chosen(sizes.filter((each) => each !== size)) })))),
    h('form', { class: 'row', onsubmit: add }, width, ' × ', length, ` ${unit} `, h('button', { type: 'submit', text: 'Add this size' })));
}

function presets() {
  const { presets: all } = known.settings, now = [named('preset')?.value ?? []].flat();
  if (!all?.length) return null;
  return h('div', { class: 'setting' }, h('label', { for: 'preset', text: 'Season and crop' }),
    h('select', { id: 'preset', onchange: ({ target }) => setTo('preset', target.value ? [target.value] : []) }, h('option', { value: '', text: 'none: as set here' }),
      all.map(({ name, title }) => h('option', { value: name, selected: now.includes(name), text: title || name }))),
    h('p', { class: 'why', text: 'Settings that go together; what is set by hand here stays.' }));
}

const firstSentence = (words) => (words ?? '').split(/(?<=\.) /)[0];
const GROUPS = { ground: 'Ground', water: 'Water', light: 'Light', air: 'Wind and frost', reach: 'Reach', earth: 'Earth to move' };

/** A slider for each weight, in groups; `chosen(id, weight)` when the hand lets go. */
export function weightSliders(weights, chosen, id) {
  const most = Math.max(3, ...(weights ?? []).map(({ weight, default: usual }) => Math.max(weight, 2 * usual)));
  const groups = [...new Set((weights ?? []).map(({ group }) => group))];
  const row = (weight) => {
    const shown = h('output', { text: String(weight.weight) }), name = `${id}-${weight.id}`;
    return h('div', { class: 'weight' }, h('label', { for: name, text: weight.title }),
      h('input', { type: 'range', id: name, min: 0, max: most, step: 0.25, value: weight.weight, 'aria-describedby': `${name}-help`,
        oninput: ({ target }) => { shown.textContent = target.value; }, onchange: ({ target }) => chosen(weight.id, Number(target.value)) }), shown,
      h('p', { class: 'why', id: `${name}-help`, text: firstSentence(weight.help) }));
  };
  return h('div', { class: 'weights' }, groups.map((group) => h('details', { open: groups.length < 2 }, h('summary', { text: GROUPS[group] ?? (group ? group[0].toUpperCase() + group.slice(1) : 'Other') }), weights.filter((weight) => weight.group === group).map(row))));
}
