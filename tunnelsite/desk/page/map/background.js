// What lies under the map besides the shaded ground: a file of the folder, or an address that the user types and turns on.

import { h } from '../look/dom.js';
import { get, put } from '../server.js';
import { known, on, set, tried } from '../store.js';

const ADDRESS = 'address'; // chosen in place of a file
let map, tiles = null, url = '', opacity = 0.8, typing = false;

export function startBackground(onMap) {
  map = onMap;
  on('background', lay);
}

export async function fetchedBackground() {
  set('background', await get('/api/background'));
}

function lay(shown) {
  document.getElementById('map-credit').textContent = shown.url ? shown.credit : '';
  if (shown.url === url) return;
  tiles?.remove();
  url = shown.url;
  tiles = url && L.tileLayer(url, {
    pane: 'background', opacity, minZoom: 8, maxZoom: 22, minNativeZoom: shown.least_zoom, maxNativeZoom: shown.most_zoom, referrerPolicy: 'no-referrer',
    ...(shown.bounds && { bounds: [[shown.bounds.south, shown.bounds.west], [shown.bounds.north, shown.bounds.east]] }),
  }).addTo(map);
}

/** The part of the pane of layers that chooses it. */
export function backgroundPart() {
  const { background: shown } = known;
  if (!shown) return null;
  const { asked } = shown, byAddress = typing || (asked.address && !asked.file), now = byAddress ? ADDRESS : asked.file;
  const pick = ({ target }) => {
    typing = target.value === ADDRESS;
    if (typing) set('background', shown);
    else choose({ ...asked, file: target.value, on: false });
  };
  return h('div', { class: 'background-part' }, h('h3', { text: 'Picture under the map' }),
    h('select', { id: 'background', 'aria-label': 'Picture under the map', onchange: pick },
      [['', 'none'], ...shown.files.map((name) => [name, name]), [ADDRESS, 'from an address …']].map(([value, text]) => h('option', { value, text, selected: value === now }))),
    shown.files.length === 0 && !byAddress && h('p', { class: 'why', text: 'An aerial picture (GeoTIFF in colours) or tiles (MBTiles) of the project folder: drop it on the page.' }),
    byAddress && addressForm(shown),
    shown.problem && h('p', { class: 'broken', text: shown.problem }),
    shown.url && h('label', { class: 'layer-row' }, h('span', { text: 'Opacity' }), h('span'), h('input', { type: 'range', min: 0, max: 1, step: 0.05, value: opacity, 'aria-label': 'Opacity of the picture', oninput: ({ target }) => { opacity = Number(target.value); tiles?.setOpacity(opacity); } })));
}

function addressForm({ asked, origin }) {
  const address = h('input', { type: 'text', id: 'background-address', 'aria-label': 'Address of the tiles', placeholder: 'https://…/{z}/{x}/{y}.png', value: asked.address });
  const credit = h('input', { type: 'text', id: 'background-credit', 'aria-label': 'Whose pictures they are', placeholder: 'whose pictures they are', value: asked.credit });
  const turn = (wanted) => choose({ file: '', address: address.value.trim(), credit: credit.value.trim(), on: wanted });
  return h('div', {}, address, credit,
    h('p', { class: origin ? 'stale' : 'why', text: origin ? `On: your browser fetches pictures from ${origin} as you move the map, so ${origin.replace(/.*\/\//, '')} sees which land you look at.`
      : 'Off. When it is turned on, your browser fetches pictures from that one address as you move the map: its owner then sees which land you look at. It is off again when the desk starts anew. Ask its owner’s terms.' }),
    h('div', { class: 'row' }, h('button', { type: 'button', id: 'background-on', text: origin ? 'Turn it off' : 'Turn it on', onclick: () => turn(!origin) })));
}

async function choose(asked) {
  const before = known.background.origin, now = await tried(() => put('/api/background', asked));
  if (!now?.files) return;
  typing = false;
  if (now.origin !== before) location.reload(); // what the page may fetch is settled when it is loaded
  else set('background', now);
}
