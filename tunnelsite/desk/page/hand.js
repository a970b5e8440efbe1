// The house in the hand: where it is, and the newest numbers for it.

import { HouseInHand } from './map/house.js';
import { apart } from './map/geo.js';
import { laySoon } from './map/labels.js';
import { announce } from './look/dom.js';
import { FOOT_M } from './look/words.js';
import { Refused, newestOnly, post } from './server.js';
import { known, on, set } from './store.js';

const APRON_M = 4 * FOOT_M; // until the server has measured the pad

const STILL_READING = 409, READING = 'Reading the land … You can move and turn the house now; its numbers follow by themselves.';
const REFRESHED_MS = 700; // the server reads a drawing again once the hand rests
const DROPPED_MS = 150, MOST_TRIES = 8, TRY_AGAIN_MS = 1500;
let shape = null;
let counted = 0, taken = 0; // steps of the house, and houses taken in hand

/** The place in the hand {lon, lat, bearing_deg, house}, or null; `proposed`: the page put it there, no one has touched it; `months`: other crop months to try, or null; `measured`: whether any numbers of this house have come. */
export const inHand = { place: null, proposed: false, months: null, measured: false };

export function startHand(map) {
  shape = new HouseInHand(map, (house, done) => {
    inHand.proposed = false;
    inHand.place = { ...inHand.place, lon: house.lon, lat: house.lat, bearing_deg: house.bearing_deg };
    set('place', inHand.place);
    measure({ ...inHand.place, seq: ++counted, done });
  });
  const again = () => inHand.place && measure({ ...inHand.place, seq: ++counted, done: false });
  on('answer', (answer) => !(inHand.proposed && answer?.options.length) && again()); // else its first option is taken in hand
  on('settings', followSize);
  let waits = 0;
  on('drawn', () => { clearTimeout(waits); waits = setTimeout(again, REFRESHED_MS); }); // a barn drawn beside the house is a rule at once
  on('place', () => laySoon());
  on('layers', () => (known.hand?.refused || known.hand?.measured === 'ground only') && again()); // there is more to measure with now
}

/** What the house covers on the map, for labels to keep off. */
export const covered = () => shape?.covers() ?? [];

/** Width and length in metres of a house such as `30x96ft`; null where it cannot be read. */
export function sizes(house) {
  const found = /([\d.]+)\s*(ft|m)?\s*[x×]\s*([\d.]+)\s*(ft|m)?/i.exec(house ?? '');
  if (!found) return null;
  const [, width, first, length, last] = found, metres = (value, unit) => Number(value) * (unit === 'm' ? 1 : FOOT_M);
  return { width_m: metres(width, first ?? last), length_m: metres(length, last ?? first) };
}

/** Take a house in hand at a place {lon, lat, bearing_deg, house}. */
export function take(place, focus = false, proposed = false) {
  inHand.proposed = proposed;
  taken += 1;
  inHand.measured = false;
  inHand.place = { lon: place.lon, lat: place.lat, bearing_deg: place.bearing_deg, house: place.house };
  shape.take({ apron_m: APRON_M, ...(sizes(place.house) ?? { width_m: 9.144, length_m: 29.26 }), ...inHand.place });
  if (focus) shape.focus();
  set('place', inHand.place);
  measure({ ...inHand.place, seq: ++counted, done: true });
}

let sizesBefore = null;

/** A house whose size is no more among those of the project becomes one that is. */
function followSize(settings) {
  const now = [settings?.fields.find(({ name }) => name === 'house')?.value ?? []].flat(), before = sizesBefore;
  sizesBefore = now;
  if (before?.includes(inHand.place?.house) && now.length && !now.includes(inHand.place.house)) take({ ...inHand.place, house: now[0] }, false, inHand.proposed);
}

/** Try the house in other crop months where it stands; null goes back to those of the answer. */
export function tryMonths(period) {
  if (inHand.months === period) return;
  inHand.months = period;
  measure({ ...inHand.place, seq: ++counted, done: true });
}

export const nudge = (east, north, turn) => shape.house && shape.nudge(east, north, turn);
export const focusHouse = () => shape.focus();

const measure = newestOnly(async ({ done, ...place }) => {
  const mine = taken;
  try {
    const hand = await post('/api/hand', { ...place, months: inHand.months });
    if (hand.dropped) { // for a newer one, of this page or another
      if (place.seq === counted) setTimeout(() => place.seq === counted && measure({ ...inHand.place, seq: ++counted, done }), DROPPED_MS);
      return;
    }
    if (mine !== taken) return; // another house was taken in hand meanwhile: these are not its numbers
    inHand.measured = true;
    trueToMeasure(hand);
    const broken = hand.rules.filter((rule) => rule.state === 'broken');
    shape.judge(broken.length > 0);
    set('hand', hand);
    waitForMore(hand);
    const score = hand.score?.words ?? '';
    announce([score, broken.length ? `Breaks: ${broken.map((rule) => rule.title).join(', ')}` : 'Keeps every rule that could be checked'].filter(Boolean).join('. '));
  } catch (problem) {
    if (!(problem instanceof Refused)) throw problem;
    if (mine === taken) set('hand', { refused: problem.status === STILL_READING ? READING : problem.message });
  }
});

let tries = 0;

/** There is an answer, but the server still reads it for the hand: ask again in a while. */
function waitForMore(hand) {
  const early = hand.measured === 'ground only' && known.answer && !known.state?.stale;
  tries = early ? tries + 1 : 0;
  if (early && tries <= MOST_TRIES) setTimeout(() => measure({ ...inHand.place, seq: ++counted, done: true }), TRY_AGAIN_MS);
}

/** The pad and the house as the server measured them, so that the drawing is true to scale for any house. */
function trueToMeasure(hand) {
  const edge = (polygon, n) => apart(corner(polygon, n), corner(polygon, n + 1));
  const corner = (polygon, n) => ({ lon: polygon.coordinates[0][n][0], lat: polygon.coordinates[0][n][1] });
  const [a, b] = [edge(hand.footprint, 0), edge(hand.footprint, 1)], pad = Math.max(edge(hand.pad, 0), edge(hand.pad, 1));
  const now = shape.house;
  Object.assign(now, { width_m: Math.min(a, b), length_m: Math.max(a, b), apron_m: (pad - Math.max(a, b)) / 2 });
}
