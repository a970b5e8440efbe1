// Begin: an empty folder is met with three ways to start.

import { h, fill } from '../look/dom.js';
import { post } from '../server.js';
import { known, on, tried } from '../store.js';
import { addFiles } from './parts.js';
import { openPart } from './sheet.js';

export function startBegin(part) {
  const box = h('section', { class: 'begin', hidden: true, 'aria-label': 'Begin' });
  part.append(box);
  on('state', (state) => {
    box.hidden = state.begun;
    if (!state.begun && !box.firstChild) fill(box, choices());
  });
}

function choices() {
  const input = h('input', { type: 'file', multiple: true, class: 'quiet', tabindex: '-1', 'aria-hidden': 'true', onchange: () => addFiles(input.files).then(() => openPart('ground')) });
  const begin = async (what, part) => { if (await tried(() => post('/api/begin', { what }))) openPart(part); };
  return [
    h('h2', { text: 'Where should the house stand?' }),
    h('p', { text: 'The desk tries every place on a farm and shows the best, with reasons. Everything stays in this folder on your machine.' }),
    h('div', { class: 'ways' },
      h('div', {}, h('button', { type: 'button', class: 'main', id: 'begin-sample', text: 'Open the sample farm', onclick: () => begin('sample', 'find') }), h('p', { class: 'why', text: 'An invented farm with everything given. A good first look.' })),
      h('div', {}, h('button', { type: 'button', id: 'begin-files', text: 'Start with my files …', onclick: () => input.click() }), input, h('p', { class: 'why', text: 'A terrain model (GeoTIFF), and what you have of fields, buildings, trees. Or drop them on this page.' })),
      h('div', {}, h('button', { type: 'button', id: 'begin-empty', text: 'Start empty', onclick: () => begin('empty', 'ground') }), h('p', { class: 'why', text: 'A new project; files and drawings come later, or data from a source that you name.' }))),
    h('p', { class: 'soft', text: `Folder: ${known.state?.folder ?? ''}` }),
  ];
}

/** Files dropped anywhere on the page. */
export function startDrops() {
  const stop = (event) => { if ([...(event.dataTransfer?.types ?? [])].includes('Files')) event.preventDefault(); };
  for (const name of ['dragenter', 'dragover']) document.addEventListener(name, stop);
  document.addEventListener('drop', (event) => {
    if (!event.dataTransfer?.files.length) return;
    event.preventDefault();
    addFiles(event.dataTransfer.files).then(() => openPart('ground'));
  });
}
