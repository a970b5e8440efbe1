// The one card on the map: what was drawn, why not here, the sun chart. A new one takes the place of the old.

import { fill, h } from '../look/dom.js';

let closed = null;

/** Show a card; `gone` is called when it is closed or replaced. Returns its element. */
export function card(title, inside, gone = null) {
  putAway();
  closed = gone;
  const box = document.getElementById('map-card');
  box.hidden = false;
  fill(box, h('div', { class: 'card-head' }, h('h2', { text: title }), h('button', { type: 'button', class: 'plain', text: 'Close', onclick: putAway })), inside);
  L.DomEvent.disableClickPropagation(box);
  L.DomEvent.disableScrollPropagation(box);
  return box;
}

export function putAway() {
  const before = closed;
  closed = null;
  document.getElementById('map-card').hidden = true;
  before?.();
}
