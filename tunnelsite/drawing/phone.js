// The stakes in the field: how far and which way from here, a level book and a horizon that the phone keeps. Nothing is sent anywhere.
'use strict';
const given = JSON.parse(document.getElementById('data').textContent);
const FOOT_M = 0.3048;
const EARTH_M = 6371008.8; // mean radius; over a farm the error is below a part in three hundred
const KEYS = { level: `level ${given.id}`, horizon: `horizon ${given.id}` };
const memory = {};

function put(parent, name, text, attributes) {
  const made = document.createElement(name);
  if (text) made.textContent = text;
  for (const [key, value] of Object.entries(attributes || {})) made.setAttribute(key, value);
  parent.append(made);
  return made;
}

function kept(key) {
  try { return JSON.parse(localStorage.getItem(key)) || []; } catch { return memory[key] || []; }
}

function keep(key, rows) {
  memory[key] = rows;
  try { localStorage.setItem(key, JSON.stringify(rows)); } catch {
    document.getElementById('kept').textContent = 'This browser keeps nothing: save the files before you close the page.';
  }
}

/** Distance [m] and true bearing [deg] from one place to another, on a plane that touches the earth between them. */
function between(from, to) {
  const middle = (from.lat + to.lat) / 2 * Math.PI / 180;
  const east = (to.lon - from.lon) * Math.PI / 180 * Math.cos(middle) * EARTH_M;
  const north = (to.lat - from.lat) * Math.PI / 180 * EARTH_M;
  return { far_m: Math.hypot(east, north), bearing: (Math.atan2(east, north) * 180 / Math.PI + 360) % 360 };
}

function length(metres) {
  if (!given.feet) return metres < 10 ? `${metres.toFixed(1)} m` : `${Math.round(metres)} m`;
  return `${Math.round(metres / FOOT_M)} ft`;
}

function showStakes(here) {
  const list = document.getElementById('stakes');
  const wanted = document.getElementById('kind').value;
  list.replaceChildren();
  for (const stake of given.stakes.filter((one) => one.kind === wanted)) {
    const item = put(list, 'li', '');
    const drawing = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
    drawing.setAttribute('viewBox', '-12 -12 24 24');
    drawing.setAttribute('class', here ? 'arrow' : 'arrow none');
    drawing.setAttribute('aria-hidden', 'true');
    const path = document.createElementNS('http://www.w3.org/2000/svg', 'path');
    path.setAttribute('d', 'M0-10 7 8 0 4-7 8Z');
    drawing.append(path);
    item.append(drawing);
    const words = put(item, 'span', '');
    put(words, 'b', stake.label);
    put(words, 'small', stake.cut);
    const far = put(item, 'span', '', { class: 'far' });
    if (here) {
      const way = between(here, stake);
      path.setAttribute('transform', `rotate(${way.bearing.toFixed(0)})`);
      put(far, 'b', length(way.far_m));
      put(far, 'small', `${way.bearing.toFixed(0)}° true`);
    } else {
      put(far, 'small', `${stake.lat.toFixed(6)}, ${stake.lon.toFixed(6)}`);
    }
  }
}

let here = null;
let watch = null;

function locate() {
  const said = document.getElementById('position');
  if (!('geolocation' in navigator)) {
    said.textContent = 'This browser gives no position. The longitude and latitude of each stake are beside it.';
    return;
  }
  said.textContent = 'Waiting for a position ...';
  if (watch !== null) navigator.geolocation.clearWatch(watch);
  watch = navigator.geolocation.watchPosition(
    (found) => {
      here = { lat: found.coords.latitude, lon: found.coords.longitude };
      said.textContent = `Your position is good to about ${length(found.coords.accuracy)}. That finds the spot; set the stakes out with tape, string and level.`;
      showStakes(here);
    },
    (problem) => { said.textContent = `No position (${problem.message || 'refused'}). Allow it in the browser, or use the longitudes and latitudes.`; },
    { enableHighAccuracy: true, maximumAge: 2000 },
  );
}

/** A list that is typed in, kept on the phone and saved as CSV. */
function book(name, fields, file) {
  const form = document.getElementById(`${name}-form`);
  const body = document.getElementById(`${name}-rows`);
  const show = () => {
    body.replaceChildren();
    kept(KEYS[name]).forEach((row, place) => {
      const line = put(body, 'tr', '');
      for (const field of fields) put(line, 'td', row[field] || '');
      const cell = put(line, 'td', '');
      const gone = put(cell, 'button', '×', { type: 'button', 'aria-label': `Remove line ${place + 1}` });
      gone.addEventListener('click', () => { keep(KEYS[name], kept(KEYS[name]).filter((_, k) => k !== place)); show(); });
    });
  };
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    const row = Object.fromEntries(fields.map((field) => [field, form.elements[field].value.trim().replace(',', field === 'remarks' ? ';' : '.')]));
    if (!Object.values(row).some(Boolean)) return;
    keep(KEYS[name], [...kept(KEYS[name]), row]);
    form.reset();
    form.elements[fields[0]].focus();
    show();
  });
  document.getElementById(`${name}-save`).addEventListener('click', () => {
    const quoted = (text) => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
    const lines = [fields, ...kept(KEYS[name]).map((row) => fields.map((field) => row[field] || ''))];
    const text = lines.map((cells) => cells.map(quoted).join(',')).join('\r\n') + '\r\n';
    const link = document.createElement('a');
    link.href = URL.createObjectURL(new Blob([text], { type: 'text/csv' }));
    link.download = file;
    link.click();
    URL.revokeObjectURL(link.href);
  });
  document.getElementById(`${name}-clear`).addEventListener('click', () => {
    if (!confirm('Remove every line?')) return;
    keep(KEYS[name], []);
    show();
  });
  show();
}

document.getElementById('locate').addEventListener('click', locate);
document.getElementById('kind').addEventListener('change', () => showStakes(here));
showStakes(null);
book('level', ['station', 'backsight', 'intermediate', 'foresight', 'remarks'], 'level_book.csv');
book('horizon', ['azimuth_deg', 'elevation_deg'], 'horizon.csv');
