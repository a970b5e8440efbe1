// What the page knows: copies of what the server holds, and who wants to hear when they change.

import { get } from './server.js';
import { notice } from './look/dom.js';
import { unit } from './look/words.js';

/** Copies by name: state, settings, roles, layers, drawn, features, answer (shown), before (compared with), compared. */
export const known = {
  state: null, settings: null, roles: [], layers: [], contours: null, drawn: { features: [] }, features: { features: [] },
  answer: null, before: null, compared: null, run: null, packet: null, gather: null, sources: null, background: null,
};

const hearers = new Map();

/** Call `take` whenever what `names` holds changes. */
export function on(names, take) {
  for (const name of names.split(' ')) hearers.set(name, [...(hearers.get(name) ?? []), take]);
}

/** Put a new copy in place and tell those who want to know. */
export function set(name, value) {
  known[name] = value;
  if (name === 'state' && value) unit.now = value.units === 'm' ? 'm' : 'ft';
  for (const take of hearers.get(name) ?? []) take(value);
}

const FROM = {
  state: '/api/state', settings: '/api/settings', roles: '/api/roles', drawn: '/api/drawn', features: '/api/features', answer: '/api/answer', gather: '/api/gather',
};

/** Fetch a copy anew. What is not there yet (404, or 409 before the project begins) leaves what stood. */
export async function fetched(name) {
  try {
    set(name, await get(FROM[name]));
  } catch (problem) {
    if (problem.status !== 404 && problem.status !== 409) notice(problem.message);
  }
}

/** Do what may be refused; the refusal goes to the head of the page in words. Returns what came back, or null. */
export async function tried(doing) {
  try {
    const done = await doing();
    notice('');
    if (done && typeof done.version === 'number' && done.headings) set('state', done);
    return done ?? true;
  } catch (problem) {
    notice(problem.message);
    return null;
  }
}

export async function fetchedLayers() {
  try {
    const { layers, contours } = await get('/api/layers');
    set('layers', layers);
    if (contours?.url !== known.contours?.url) set('contours', contours);
  } catch (problem) {
    if (problem.status !== 404 && problem.status !== 409) notice(problem.message);
  }
}
