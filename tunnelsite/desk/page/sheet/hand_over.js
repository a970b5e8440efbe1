// Hand over: the packet for the pinned places, written into the project's folder.

import { h, s } from '../look/dom.js';
import { post, remove } from '../server.js';
import { known, set, tried } from '../store.js';

const left = new Set(); // letters not wanted in the packet

export function handOverPart() {
  const { state, packet } = known, pins = state?.pins ?? [], going = packet?.state === 'running';
  const letters = pins.map(({ letter }) => letter).filter((letter) => !left.has(letter));
  const write = async () => {
    const now = await tried(() => post('/api/packet', { letters }));
    if (now?.state) set('packet', now);
  };
  return [
    h('p', { text: 'The packet holds a report to print, and for each pinned place its sun chart, grading plan and stake sheet, with GPX and GeoPackage to take along. It is one folder: send it by mail, it opens anywhere.' }),
    !pins.length && h('p', { class: 'soft', text: 'Missing: a place to hand over. Pin an option as A first, under “Choose”.' }),
    pins.length > 0 && h('fieldset', {}, h('legend', { text: 'In the packet' }), pins.map(({ letter, name }) => h('label', { class: 'check' }, h('input', { type: 'checkbox', checked: !left.has(letter), onchange: ({ target }) => { if (target.checked) left.delete(letter); else left.add(letter); set('packet', known.packet); } }), `${letter} ${name}`))),
    h('div', { class: 'row' }, going ? h('button', { type: 'button', text: 'Cancel', onclick: () => tried(() => remove('/api/packet')) })
      : h('button', { type: 'button', class: 'main', id: 'write-packet', disabled: !letters.length, text: 'Write the packet', onclick: write })),
    going && h('p', {}, h('progress', { value: packet.share ?? 0, max: 1, 'aria-label': 'Packet' }), ` ${packet.words}`),
    packet?.state === 'failed' && h('p', { class: 'broken', text: packet.problem?.words ?? packet.words }),
    packet?.state === 'cancelled' && h('p', { class: 'soft', text: 'Cancelled; nothing was left half written.' }),
    (state?.packets ?? []).length > 0 && [h('h3', { text: 'Packets written' }), h('ul', { class: 'packets' }, state.packets.map(entry))],
    pins.length > 0 && phonePart(pins, state.phone),
    h('p', { class: 'caution', text: 'Before anyone digs: have buried utilities located and marked, keep clear of overhead lines, confirm the pitch with a level, and ask the local authority about permits, setbacks, floodplain and wetland. Local codes rule.' }),
  ];
}

/** The stakes in the field: on the local network only while this is asked for. */
function phonePart(pins, shown) {
  const show = (letter) => tried(() => post('/api/phone', { letter })), stop = () => tried(() => remove('/api/phone'));
  return h('section', { class: 'phone-part' }, h('h3', { text: 'In the field' }),
    shown ? [h('p', { role: 'status', text: 'Scan this code with the camera of a phone on the same network, or type the address:' }),
      s('svg', { class: 'scan-code', viewBox: `0 0 ${shown.code.side} ${shown.code.side}`, role: 'img', 'aria-label': 'QR code of the address below' },
        s('rect', { width: shown.code.side, height: shown.code.side }), s('path', { d: shown.code.path })),
      h('p', {}, h('strong', { class: 'phone-address', text: shown.address })),
      h('p', { class: 'why', text: `It shows the stakes of ${shown.letter}${shown.name ? ` (${shown.name})` : ''}, to read only, for an hour at most. Anyone on your network who has the address can read them. Browsers tell the position to secure pages only, and this is none: save it on the phone before you leave the network, and open it from there.` }),
      h('div', { class: 'row' }, h('button', { type: 'button', id: 'phone-stop', text: 'Stop showing it', onclick: stop }))]
      : [h('p', { class: 'why', text: 'Distance and bearing to each stake, a level book and a horizon on a phone. The desk is on this machine alone; with this button it shows that one page, and no more, to your local network until you stop it.' }),
        h('div', { class: 'row' }, pins.map(({ letter }) => h('button', { type: 'button', class: 'show-on-phone', text: `Show ${letter} on a phone`, onclick: ({ target }) => { Object.assign(target, { disabled: true, textContent: 'Making the page …' }); show(letter).then(() => set('packet', known.packet)); } })))]);
}

function entry(packet) {
  const out = (address, words, more = {}) => h('a', { href: address, target: '_blank', rel: 'noopener', text: words, ...more });
  return h('li', {}, h('p', {}, h('strong', { text: packet.words })), h('p', {}, out(packet.open, 'Open and print', { class: 'open-packet' }), h('span', { class: 'soft', text: ` in ${packet.folder}` })),
    h('details', {}, h('summary', { text: `${packet.files.length} files` }), h('ul', { class: 'plain-list' }, packet.files.map(({ path, title }) => h('li', {}, out(path, title))))));
}
