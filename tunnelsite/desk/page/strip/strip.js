// The strip: the house in the hand in numbers, its light by month, and every rule kept or broken in words.

import { fill, h, s } from '../look/dom.js';
import { FOOT_M, MONTHS, MONTH_NAMES, NOT_KNOWN, depth, feet, length, pitch, ridge, score, sizeWords, volume } from '../look/words.js';
import { focusHouse, inHand, nudge, tryMonths } from '../hand.js';
import { known, on } from '../store.js';
import { card, putAway } from '../map/card.js';
import { monthsStrip } from '../sheet/months.js';
import { startRun } from '../sheet/find.js';
import { pinForm } from '../sheet/pins.js';

const BEHIND_MS = 500;
const strip = () => document.getElementById('strip');
let chart = null, sunWaits = 0;

export function startStrip() {
  on('hand', () => { behind(false); draw(); });
  on('place', () => { behind(true); draw(); });
  on('state', () => draw());
  draw();
}

let slow = 0;

/** Whether the numbers are of another place than the house's: said where they do not follow at once. */
function behind(now) {
  clearTimeout(slow);
  if (now) slow = setTimeout(() => strip().classList.add('behind'), BEHIND_MS);
  else strip().classList.remove('behind');
}

function draw() {
  const hand = known.hand;
  if (!inHand.place) {
    fill(strip(), h('p', { class: 'strip-empty', text: 'No house in the hand yet. Once the ground stands on the map, take an option, or click a place and put the house there.' }));
    return;
  }
  if (!hand || hand.refused) {
    fill(strip(), h('p', { class: 'strip-empty', role: 'status', text: hand?.refused ?? 'Measuring the place …' }));
    return;
  }
  strip().classList.toggle('other', !inHand.measured);
  const was = [...strip().querySelectorAll('[data-keep]')].map((part) => [part.dataset.keep, part.scrollTop]);
  fill(strip(), h('div', { class: 'strip-parts' }, houseOf(hand), groundOf(hand), distancesOf(hand), lightOf(hand), rulesOf(hand)));
  for (const [name, top] of was) strip().querySelector(`[data-keep="${name}"]`)?.scrollTo(0, top);
  followSun();
}

function houseOf(hand) {
  const kept = keptOption(hand), early = hand.measured === 'ground only';
  const broken = hand.rules.filter(({ state }) => state === 'broken'), step = feet() ? FOOT_M : 0.3;
  const key = (name, sign, ...by) => h('button', { type: 'button', id: `key-${name.replaceAll(' ', '-')}`, 'aria-label': name, title: name, text: sign, onclick: () => nudge(...by) });
  const verdict = broken.length
    ? h('p', { class: 'verdict bad' }, h('span', { class: 'hatch', 'aria-hidden': 'true' }), `Breaks ${broken.length} ${broken.length === 1 ? 'rule' : 'rules'}: ${broken.map(({ title }) => plain(title).toLowerCase()).join(', ')}`)
    : !hand.score?.words && h('p', { class: 'verdict', text: 'Keeps every rule that could be checked.' });
  return h('div', { class: 'strip-part house-part' },
    h('h2', { text: sizeWords(inHand.place.house) }),
    h('p', { class: 'measuring', role: 'status', text: 'Measuring this place …' }),
    h('p', { class: 'soft', text: `Ridge ${ridge(inHand.place.bearing_deg)}${hand.parcel ? `, in ${hand.parcel}` : ', in no field'}` }),
    h('div', { class: 'score-line' },
      h('span', { class: 'score', text: broken.length ? '–' : score(kept?.score ?? hand.score?.steady) }), h('span', { class: 'soft', text: scoreWords(hand, kept, broken.length) })),
    !broken.length && rampOf(kept?.score ?? hand.score?.steady),
    !broken.length && (kept ?? hand).room_m != null && h('p', { text: `Room to shift: ${length((kept ?? hand).room_m)}` }),
    verdict,
    hand.tried && h('p', { class: 'why', text: `Crops ${hand.tried.words}, tried here alone${hand.tried.usual == null ? '' : `; with the answer’s months ${score(hand.tried.usual)}`}.` }),
    early && !kept && [h('p', { class: 'early', text: `Only the ground is measured so far; ${hand.score.words}.` }), canFind() && h('button', { type: 'button', id: 'find-from-strip', text: 'Find places', onclick: startRun })],
    h('div', { class: 'keys', role: 'group', 'aria-label': 'Move and turn the house' },
      key('move west', '←', -step, 0), key('move north', '↑', 0, step), key('move south', '↓', 0, -step), key('move east', '→', step, 0), key('turn left', '↺', 0, 0, -1), key('turn right', '↻', 0, 0, 1)),
    h('div', { class: 'row' }, h('button', { type: 'button', id: 'keep-pin', text: 'Pin it', onclick: () => pinForm(inHand.place) }),
      h('button', { type: 'button', class: 'plain', id: 'to-house', text: 'Steer by keyboard', onclick: focusHouse })));
}

const canFind = () => !known.run || ['done', 'cancelled', 'failed'].includes(known.run.state) ? !known.answer || known.state?.stale : false;

/** The option of the kept answer that stands here, while its ground is read again for the hand. */
function keptOption(hand) {
  const { answer, state } = known, { lon, lat, house } = inHand.place;
  if (hand.measured !== 'ground only' || !answer || answer.first_look || state?.stale) return null;
  return answer.options.find(({ place }) => place.lon === lon && place.lat === lat && place.house === house && place.bearing_deg === inHand.place.bearing_deg);
}

function scoreWords(hand, kept, broken) {
  if (kept) return 'of 100, as kept';
  if (broken) return 'no score here';
  if (hand.score?.steady == null) return hand.measured === 'ground only' ? 'no score yet' : 'no score here';
  return hand.score.words.replace(/^[\d.]+ /, '');
}

function line(title, words, more = '') {
  return [h('dt', { text: title }), h('dd', { class: more }, words)];
}

const short = (words) => words.replace(' in. per 12 ft', ' in./12 ft');

/** Earth [m3] and how deep or high it lies at most [m]; nothing is neither. */
const moved = (cubicMetres, most, word) => (most ? `${volume(cubicMetres)}, ${word} ${depth(most)}` : volume(cubicMetres));

function groundOf(hand) {
  const { pitch: slope, earth, water } = hand;
  return h('div', { class: 'strip-part ground-part', tabindex: '0', role: 'group', 'aria-label': 'Ground and water', 'data-keep': 'ground' }, h('h3', { text: 'Ground and water' }),
    h('dl', {},
      line('Pitch along', short(slope?.along_words || pitch(slope?.along_pct))), line('Pitch across', short(slope?.across_words || pitch(slope?.across_pct))),
      line('Cut', moved(earth?.cut_m3, earth?.max_cut_m, 'deepest')), line('Fill', moved(earth?.fill_m3, earth?.max_fill_m, 'highest')),
      line('Water', (hand.measured === 'ground only' ? ['follows with the search'] : water?.words ?? [NOT_KNOWN]).map((words) => h('span', { class: 'each', text: words })))));
}

function distancesOf(hand) {
  const distances = hand.distances ?? [];
  return h('div', { class: 'strip-part', tabindex: '0', role: 'group', 'aria-label': 'Distances', 'data-keep': 'distances' }, h('h3', { text: 'Distances' }),
    distances.length ? h('ul', {}, distances.map(({ words }) => h('li', { text: words }))) : h('p', { class: 'soft', text: 'none given' }));
}

function lightOf(hand) {
  const months = hand.light?.months ?? [], tall = 64, wide = 17;
  const known12 = months.filter(({ share }) => share !== null);
  const bars = months.map(({ month, share, crop }, n) => {
    const dark = month === hand.light.darkest, top = share === null ? 0 : Math.max(1, share * tall);
    return s('g', {},
      s('rect', { x: n * wide + 2, y: 4, width: wide - 4, height: tall, fill: 'none', stroke: '#b9b5a8', 'stroke-width': 1 }),
      share !== null && s('rect', { x: n * wide + 2, y: 4 + tall - top, width: wide - 4, height: top, class: crop ? (dark ? 'bar dark' : 'bar crop') : 'bar idle' }),
      s('text', { x: n * wide + wide / 2, y: tall + 19, 'text-anchor': 'middle', class: dark ? 'month dark' : 'month', text: MONTHS[month - 1][0] }),
      dark && s('path', { d: `M${n * wide + wide / 2} ${tall + 23} l5 7 h-10 Z`, class: 'dark-mark' }));
  });
  const words = hand.light?.words || 'Light: not assessed';
  const label = `Share of the open sky’s sun by month: ${known12.map(({ month, share, crop }) => `${MONTH_NAMES[month - 1]} ${Math.round(share * 100)} %${crop ? '' : ' (no crops)'}`).join(', ')}`;
  return h('div', { class: 'strip-part light-part' }, h('h3', { text: 'Light by month' }),
    known12.length > 0 && s('svg', { viewBox: `0 0 ${wide * 12} ${tall + 32}`, class: 'bars', role: 'img', 'aria-label': label }, bars),
    h('p', { text: words }), h('button', { type: 'button', id: 'sun-chart', 'aria-pressed': String(Boolean(chart)), text: 'Sun chart', onclick: () => (chart ? putAway() : sunChart()) }));
}

/** A file's name as a name. */
const plain = (title) => title.replace(/\.(gpkg|geojson|json|kml|shp|zip|gpx|csv)\b/g, '').replaceAll('_', ' ');

const STATES = { broken: ['✕', 'broken'], unknown: ['?', 'not known'], kept: ['✓', 'kept'] };

function rulesOf(hand) {
  const order = ['broken', 'unknown', 'kept'], rules = [...hand.rules].sort((a, b) => order.indexOf(a.state) - order.indexOf(b.state));
  return h('div', { class: 'strip-part rules-part', tabindex: '0', role: 'group', 'aria-label': 'Rules', 'data-keep': 'rules' },
    hand.flags?.length > 0 && [h('h3', { text: 'Do not miss' }), h('ul', { class: 'flags' }, hand.flags.map((text) => h('li', { text: text[0].toUpperCase() + text.slice(1) })))],
    h('h3', { text: 'Rules' }),
    h('ul', { class: 'rules' }, rules.map((rule) => h('li', { class: rule.state },
      h('span', { class: 'mark', 'aria-hidden': 'true', text: STATES[rule.state][0] }),
      h('span', {}, h('strong', { text: `${plain(rule.title)}: `, title: rule.title }), h('span', { class: 'state', text: STATES[rule.state][1] }), rule.words && `. ${rule.words[0].toUpperCase()}${rule.words.slice(1)}`, rule.state === 'broken' && rule.change && h('span', { class: 'why', text: `. Needed: ${rule.change}` }))))));
}

/** The sun chart follows the house, one at a time. */
function followSun() {
  clearTimeout(sunWaits);
  if (!chart || chart.getAttribute('src') === sunAddress()) return;
  if (!chart.complete) sunWaits = setTimeout(followSun, 60);
  else chart.src = sunAddress();
}

/** Where the score stands between the best and the worst place of this answer. */
function rampOf(steady) {
  const legend = known.layers.find(({ id }) => id === 'score')?.legend;
  if (legend?.kind !== 'ramp' || steady == null) return null;
  const [low, high] = [legend.low, legend.high].map(({ words }) => Number.parseFloat(words)); // the numbers at the ends
  const at = Math.min(1, Math.max(0, (steady - low) / (high - low || 1)));
  return h('div', { class: 'score-ramp', 'aria-hidden': 'true' }, h('span', { text: legend.low.words }),
    h('span', { class: 'ramp', style: { 'background-image': `linear-gradient(to right, ${legend.colours.join(',')})` } }, h('span', { class: 'at', style: { left: `${100 * at}%` } })), h('span', { text: legend.high.words }));
}

const sunAddress = () => {
  const { lon, lat, bearing_deg, house } = inHand.place, months = inHand.months ?? '';
  return `/api/hand/sun.svg?${new URLSearchParams({ lon, lat, bearing_deg, house, months })}`;
};

function sunChart() {
  chart = h('img', { src: sunAddress(), alt: 'Sun chart of the house in the hand: the horizon and the sun’s paths by month', class: 'sun-chart', onerror: () => setTimeout(() => { if (chart) chart.src = sunAddress(); }, BEHIND_MS) }); // another page asked at the same time
  const months = known.answer?.settings?.crop_months ?? known.settings?.fields.find(({ name }) => name === 'crop_months')?.value;
  const others = h('details', {}, h('summary', { text: 'What if in other months?' }), monthsStrip(months, tryMonths, 'hand-months'),
    h('p', { class: 'why', text: 'Light, score and chart of this house follow, here alone. Closing this goes back to the answer’s months.' }));
  card('Sun chart of the house in the hand', [others, chart], () => { chart = null; tryMonths(null); draw(); });
  draw();
}
