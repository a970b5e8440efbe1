// The one card on the map: what was drawn, why not here, the sun chart. A new one takes the place of the old.

import { fill, h } from '../look/dom.js';

let closed = null, before = null; // what is called, and what had the focus

/** Show a card of a kind; `gone` is called when it is closed or replaced. Returns its element. */
export function card(title, inside, gone = null, kind = '') {
  const box = document.getElementById('map-card');
  if (!box.contains(document.activeElement)) before = document.activeElement;
  putAway();
  closed = gone;
  document.dispatchEvent(new CustomEvent('part', { detail: 'map' })); // on a phone only one part is large
  box.className = `map-card ${kind}`;
  box.hidden = false;
  fill(box, h('div', { class: 'card-head' }, h('h2', { text: title }), h('button', { type: 'button', class: 'plain', text: 'Close', onclick: putAway })), inside);
  L.DomEvent.disableClickPropagation(box);
  L.DomEvent.disableScrollPropagation(box);
  return box;
}

export function putAway() {
  const box = document.getElementById('map-card'), gone = closed, held = box.contains(document.activeElement);
  closed = null;
  box.hidden = true;
  if (held && before?.isConnected) before.focus({ preventScroll: true }); // or the keyboard would begin at the top of the page
  gone?.();
}
