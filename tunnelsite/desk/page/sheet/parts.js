// Pieces that several headings use: a question, a file, a setting.

import { h } from '../look/dom.js';
import { inUnit, unit, withUnit } from '../look/words.js';
import { patch, post, remove } from '../server.js';
import { fetched, known, tried } from '../store.js';
import { sourcesCame } from './gather.js';

/** Something missing, asked in place with why it matters. */
export function question({ id, words, why, choices }) {
  return h('div', { class: 'question', role: 'group', 'aria-label': words }, h('p', {}, h('strong', { text: words })), h('p', { class: 'why', text: why }),
    h('div', { class: 'row' }, choices.map(({ value, title }) => h('button', { type: 'button', text: title, onclick: () => tried(() => post(`/api/answers/${id}`, { value })) }))));
}

/** Files of the project that `wanted` says yes to. */
export function fileList(wanted) {
  const files = (known.state?.files ?? []).filter(wanted);
  return files.length > 0 && h('ul', { class: 'files' }, files.map(fileRow));
}

const titleOf = (role) => known.roles.find(({ id }) => id === role)?.title ?? role;
const useAs = (name, role) => tried(() => patch(`/api/files/${encodeURIComponent(name)}`, { use_as: role }));

function fileRow(file) {
  const roles = known.roles.filter(({ kind }) => kind === 'any' || kind === file.kind || (Array.isArray(kind) && kind.includes(file.kind)));
  const now = file.used_as ?? '', role = known.roles.find(({ id }) => id === now), id = `file-${file.name}`;
  const others = now && !roles.some((each) => each.id === now) ? [{ id: now, title: role?.title ?? now }] : [];
  return h('li', {},
    h('div', { class: 'file-line' }, h('label', { for: id, class: 'file-name', text: file.name }),
      h('select', { id, onchange: ({ target }) => useAs(file.name, target.value || null) },
        h('option', { value: '', text: 'not used' }), [...others, ...roles].map((each) => h('option', { value: each.id, selected: each.id === now, text: each.title })))),
    role?.distance && h('label', { class: 'inline' }, 'keep away by ', h('input', { type: 'text', class: 'short', value: file.distance_m == null ? '' : `${inUnit(file.distance_m)} ${unit.now}`, placeholder: `0 ${unit.now}`,
      onchange: ({ target }) => tried(() => patch(`/api/files/${encodeURIComponent(file.name)}`, { use_as: now, distance: withUnit(target.value.trim()) || null })) })),
    file.facts?.length > 0 && h('p', { class: 'why', text: file.facts.join(' · ') }),
    !now && file.proposed && h('p', { class: 'why', text: `Looks like ${titleOf(file.proposed).toLowerCase()}: ${file.proposed_why}` }),
    !now && file.proposed && h('button', { type: 'button', text: `Use as ${titleOf(file.proposed).toLowerCase()}`, onclick: () => useAs(file.name, file.proposed) }),
    (file.problems ?? []).map((words) => h('p', { class: 'broken', text: words })));
}

/** Take files by a button or dropped on the page; the server puts a new one to use where its place is free. */
export async function addFiles(list) {
  const form = new FormData();
  for (const file of list) form.append('file', file, file.name);
  if (!known.state?.begun && !(await tried(() => post('/api/begin', { what: 'empty' })))) return;
  const said = await tried(() => post('/api/files', form));
  await Promise.all([fetched('roles'), fetched('state')]);
  if (said?.sources) await sourcesCame();
  if (said?.refused?.length) document.dispatchEvent(new CustomEvent('refused', { detail: said.refused }));
}

export function addButton() {
  const input = h('input', { type: 'file', multiple: true, class: 'quiet', tabindex: '-1', 'aria-hidden': 'true', onchange: () => addFiles(input.files) });
  return h('div', { class: 'row' }, h('button', { type: 'button', text: 'Add files …', onclick: () => input.click() }), input, h('span', { class: 'why', text: 'or drop them anywhere on the page' }));
}

export const setTo = (name, value) => tried(() => patch('/api/settings', { set: { [name]: value } })).then(() => fetched('settings'));
export const cleared = (name) => tried(() => patch('/api/settings', { clear: [name] })).then(() => fetched('settings'));

/** A setting with its title, its help and its unit. `kinds` that need more than one line of form are made elsewhere. */
export function settingField(field) {
  const id = `set-${field.name}`, input = inputOf(field, id);
  if (!input) return null;
  return h('div', { class: `setting ${field.kind}` }, h('label', { for: id, text: field.title }), input,
    field.given && h('button', { type: 'button', class: 'plain', 'aria-label': `${field.title}: back to the usual`, text: 'usual', onclick: () => cleared(field.name) }),
    field.help && h('p', { class: 'why', id: `${id}-help`, text: field.help }));
}

function inputOf(field, id) {
  const value = field.value ?? '', set = { id, 'aria-describedby': field.help ? `${id}-help` : null };
  if (field.kind === 'choice') return h('select', { ...set, onchange: ({ target }) => setTo(field.name, target.value) }, !field.value && h('option', { value: '', text: 'not given' }), field.choices.map((choice) => h('option', { value: choice, selected: choice === value, text: choice })));
  if (field.kind === 'flag') return h('input', { ...set, type: 'checkbox', checked: Boolean(field.value), onchange: ({ target }) => setTo(field.name, target.checked) });
  if (['length', 'angle', 'number', 'integer', 'text'].includes(field.kind)) {
    const shown = field.words || (Array.isArray(value) ? value.join(', ') : String(value));
    return h('input', { ...set, type: 'text', value: field.given ? shown : '', placeholder: shown, onchange: ({ target }) => (target.value.trim() ? setTo(field.name, plain(field, target.value.trim())) : cleared(field.name)) });
  }
  return null;
}

/** What is sent for what was typed: lengths and angles as text, for the server reads their units. */
function plain(field, text) {
  if (field.kind === 'length') return withUnit(text);
  return ['number', 'integer'].includes(field.kind) && /^[-\d.]+$/.test(text) ? Number(text) : text;
}

/** The settings under a heading; files stand in the list of files. */
export const fieldsOf = (heading) => (known.settings?.fields ?? []).filter((field) => field.heading === heading);

/** Take a file out of the project; the file stays in the folder. */
export const takeOut = (name) => tried(() => remove(`/api/files/${encodeURIComponent(name)}`));
