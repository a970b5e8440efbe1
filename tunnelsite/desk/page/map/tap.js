// A tap on the map: why not here, or what a house here would lose; and the values under the pointer.

import { take } from '../hand.js';
import { announce, h } from '../look/dom.js';
import { get, newestOnly, post } from '../server.js';
import { known, tried } from '../store.js';
import { card } from './card.js';
import { busyDrawing } from './drawing.js';

const REST_MS = 120;

export function startTap(map) {
  const mark = L.circleMarker([0, 0], { radius: 7, weight: 3, color: '#1f2620', fillColor: '#fff', fillOpacity: 1, interactive: false, pmIgnore: true });
  map.on('click', async ({ latlng }) => {
    if (busyDrawing() || known.state?.model?.state !== 'ready') return;
    const at = { lon: latlng.lng, lat: latlng.lat };
    const said = await tried(() => post('/api/tap', at));
    if (!said) return;
    mark.setLatLng(latlng).addTo(map);
    answer(said, at, () => mark.remove());
  });
  readout(map);
}

const TITLES = { offered: 'A house could stand here', listed: 'One of the options', 'not searched': 'Not measured yet', outside: 'Outside the ground that is known' };

function answer(said, at, gone) {
  const title = TITLES[said.state] ?? 'Why not here?';
  const losses = (said.losses ?? []).filter(({ points }) => points !== 0);
  card(title, [
    h('div', { class: 'card-words' }, (said.words ?? []).map((words, n) => h('p', { class: n || said.state !== 'not offered' ? '' : 'broken', text: words }))),
    said.words?.length === 1 && losses.length > 0 && [h('h3', { text: 'What this place loses' }), h('ul', { class: 'losses' }, losses.map(({ title: name, words }) => h('li', {}, h('strong', { text: `${name}: ` }), words)))],
    said.state !== 'outside' && h('div', { class: 'row' }, h('button', { type: 'button', text: 'Put the house here', onclick: () => take({ ...(said.place ?? at), ...at }, true) })),
  ], gone);
  announce([title, ...(said.words ?? [])].join('. '), 0);
}

/** The ground's height and what else the model holds under the pointer, once it rests. */
function readout(map) {
  const box = L.control({ position: 'bottomleft' });
  const line = h('div', { class: 'readout', hidden: true });
  box.onAdd = () => line;
  box.addTo(map);
  let waiting = 0;
  const ask = newestOnly(async ({ lng, lat }) => {
    const { items } = await get(`/api/value?lon=${lng}&lat=${lat}`).catch(() => ({ items: [] }));
    line.hidden = !items.length;
    line.textContent = items.map(({ title, words }) => `${title} ${words}`).join(' · ');
  });
  map.on('mousemove', ({ latlng }) => {
    clearTimeout(waiting);
    waiting = setTimeout(() => known.state?.model?.state === 'ready' && ask(latlng), REST_MS);
  });
  map.on('mouseout', () => { clearTimeout(waiting); line.hidden = true; });
}
