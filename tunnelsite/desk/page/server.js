// Talking to the desk's server on this machine: the only place that sends anything.

/** What the server refused: `words` says what was given, what is expected and how to fix it. */
export class Refused extends Error {
  constructor(status, said) {
    super(said?.words || said?.detail || `The desk's server answered ${status}.`);
    this.status = status;
  }
}

const GONE = 'The desk’s server does not answer. What was drawn is safe in the folder. Start it again with “tunnelsite desk” and open the address it shows.';

async function call(method, path, body, signal) {
  const set = { method, headers: {}, signal, credentials: 'same-origin' };
  if (method !== 'GET') set.headers['X-Desk'] = '1';
  if (body instanceof FormData) set.body = body;
  else if (body !== undefined) {
    set.headers['content-type'] = 'application/json';
    set.body = JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(path, set);
  } catch (problem) {
    if (problem.name === 'AbortError') throw problem;
    throw new Refused(0, { words: GONE });
  }
  const said = answer.headers.get('content-type')?.includes('json') ? await answer.json() : null;
  if (!answer.ok) throw new Refused(answer.status, said);
  return said;
}

export const get = (path, signal) => call('GET', path, undefined, signal);
export const post = (path, body = {}) => call('POST', path, body);
export const put = (path, body) => call('PUT', path, body);
export const patch = (path, body) => call('PATCH', path, body);
export const remove = (path) => call('DELETE', path);

/** Server-sent events: `heard` maps an event's name to what to do with its data. `lost` tells whether the line is down. */
export function listen(heard, lost) {
  const line = new EventSource('/api/events');
  for (const [name, take] of Object.entries(heard)) line.addEventListener(name, (event) => take(JSON.parse(event.data)));
  line.onerror = () => lost(true);
  line.onopen = () => lost(false);
  return line;
}

/** One request at a time, the newest waiting; those between are dropped. `send` deals with its own errors. */
export function newestOnly(send) {
  let busy = false, next = null;
  return async function ask(value) {
    next = { value };
    if (busy) return;
    busy = true;
    while (next) {
      const { value: now } = next;
      next = null;
      await send(now);
    }
    busy = false;
  };
}
