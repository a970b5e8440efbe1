// The house in the hand: drawn to scale, moved and turned by pointer and by keys.

import { announce, s } from '../look/dom.js';
import { FOOT_M, feet, ridge } from '../look/words.js';
import { apart, bearing, onHouse, rectangle, shifted } from './geo.js';

const INK = '#3b2350', BROKEN = '#a03a00';
const TURN_RADIUS_PX = 18, TURN_PX = 30; // from the end wall to the handle that turns the house
const DOOR_M = 3.0; // how wide a door is drawn: room for a small tractor; the house's own doors are the maker's

/** Hatches for what is not allowed: in the map's own drawing, so that paths can name them. */
export function addHatches(map) {
  const canvas = map.getPane('overlayPane').querySelector('svg');
  if (!canvas || canvas.querySelector('#hatch-broken')) return;
  const hatch = (id, colour) => s('pattern', { id, width: 8, height: 8, patternUnits: 'userSpaceOnUse', patternTransform: 'rotate(45)' },
    s('rect', { width: 8, height: 8, fill: '#fff', 'fill-opacity': 0.45 }), s('rect', { width: 3.2, height: 8, fill: colour }));
  canvas.prepend(s('defs', {}, hatch('hatch-broken', BROKEN), hatch('hatch-keep-out', '#6d5a4a')));
}

export class HouseInHand {
  /** `moved(house, done)` is called at every step; `done` once the hand lets go. */
  constructor(map, moved) {
    this.map = map;
    this.moved = moved;
    this.house = null;
    this.layers = null;
    map.on('zoomend', () => this.house && this.#redraw());
  }

  /** Take a house in hand: {lon, lat, bearing_deg, width_m, length_m, apron_m}. null puts it away. */
  take(house) {
    this.house = house;
    if (!house) {
      this.layers?.group.remove();
      return;
    }
    if (!this.layers) this.#draw();
    if (!this.map.hasLayer(this.layers.group)) this.layers.group.addTo(this.map).eachLayer((layer) => layer.redraw?.());
    this.#listen();
    this.#redraw();
  }

  /** Show whether a rule is broken: a hatch and the warm colour; the words stand in the strip. */
  judge(broken) {
    if (!this.layers) return;
    this.layers.body.setStyle({ fillColor: broken ? 'url(#hatch-broken)' : '#fff', fillOpacity: broken ? 1 : 0.72, color: broken ? BROKEN : INK });
    this.layers.pad.setStyle({ color: broken ? BROKEN : INK });
  }

  /** What it covers: bounds in layer points of the house and of the handle that turns it. */
  covers() {
    if (!this.house || !this.layers) return [];
    const point = (at) => this.map.latLngToLayerPoint(at), handle = point(this.layers.turn.getLatLng());
    return [L.bounds(rectangle(this.house).map(point)), L.bounds(handle.subtract([TURN_RADIUS_PX, TURN_RADIUS_PX]), handle.add([TURN_RADIUS_PX, TURN_RADIUS_PX]))];
  }

  focus() {
    this.layers?.body.getElement()?.focus({ preventScroll: true });
  }

  /** Move by metres and turn by degrees. */
  nudge(east, north, turn = 0) {
    const at = shifted(this.house, east, north);
    this.#to({ ...this.house, ...at, bearing_deg: (this.house.bearing_deg + turn + 180) % 180 }, true);
  }

  #draw() {
    const own = { renderer: L.svg({ pane: 'house', padding: 0.6 }), pmIgnore: true, color: INK }; // above all else, however often the rest is drawn
    const line = (weight, more = {}) => L.polyline([[0, 0], [0, 0]], { ...own, weight, interactive: false, ...more });
    const pad = L.polygon([[0, 0]], { ...own, weight: 1.5, dashArray: '5 4', fill: false, interactive: false });
    const body = L.polygon([[0, 0]], { ...own, weight: 2.5, fillColor: '#fff', fillOpacity: 0.72, className: 'house-hand', bubblingMouseEvents: false });
    const top = line(1.6, { dashArray: '9 3' }), doorA = line(5), doorB = line(5);
    const turn = L.marker([0, 0], { keyboard: false, pmIgnore: true, icon: L.divIcon({ className: 'turn-hand', html: '<span aria-hidden="true">⟳</span>', iconSize: [34, 34] }), bubblingMouseEvents: false });
    this.layers = { group: L.featureGroup([pad, body, top, doorA, doorB, turn]), pad, body, top, doorA, doorB, turn };
    this.layers.group.addTo(this.map);
    addHatches(this.map);
  }

  #redraw() {
    const house = this.house, { pad, body, top, doorA, doorB, turn } = this.layers;
    const half = house.length_m / 2, door = Math.min(DOOR_M, house.width_m * 0.6) / 2;
    pad.setLatLngs(rectangle(house, house.apron_m ?? 0));
    body.setLatLngs(rectangle(house));
    top.setLatLngs([onHouse(house, -half, 0), onHouse(house, half, 0)]);
    doorA.setLatLngs([onHouse(house, half, -door), onHouse(house, half, door)]);
    doorB.setLatLngs([onHouse(house, -half, -door), onHouse(house, -half, door)]);
    turn.setLatLng(onHouse(house, half + Math.max(8, TURN_PX * this.#metresInPixel()), 0));
    this.#label();
  }

  #metresInPixel() {
    const at = this.map.latLngToContainerPoint([this.house.lat, this.house.lon]), next = this.map.containerPointToLatLng(at.add([100, 0]));
    return apart(this.house, { lat: next.lat, lon: next.lng }) / 100;
  }

  #label() {
    const step = feet() ? '1 foot' : '0.3 metres';
    this.layers.body.getElement()?.setAttribute('aria-label',
      `House in the hand, ridge ${ridge(this.house.bearing_deg)}. Arrow keys move it ${step}, with shift ten times that; [ and ] turn it a degree.`);
  }

  #listen() {
    const body = this.layers.body.getElement(), turn = this.layers.turn.getElement();
    if (!body || body.dataset.listening) return;
    for (const [element, start] of [[body, this.#drag], [turn, this.#turning]]) {
      element.dataset.listening = '1';
      L.DomEvent.on(element, 'mousedown touchstart click dblclick', L.DomEvent.stopPropagation);
      element.addEventListener('pointerdown', (event) => start.call(this, event, element));
    }
    body.setAttribute('tabindex', '0');
    body.setAttribute('role', 'button');
    body.id = 'house-in-hand';
    turn.setAttribute('aria-hidden', 'true');
    body.addEventListener('keydown', (event) => this.#key(event));
  }

  #follow(event, element, step) {
    if (event.button > 0) return;
    event.stopPropagation();
    event.preventDefault();
    element.setPointerCapture(event.pointerId);
    const at = (pointer) => {
      const { lat, lng } = this.map.mouseEventToLatLng(pointer);
      return { lat, lon: lng };
    };
    const first = at(event), begun = this.house;
    const go = (pointer) => this.#to(step(begun, first, at(pointer)), false);
    const end = (pointer) => {
      element.removeEventListener('pointermove', go);
      element.removeEventListener('pointerup', end);
      element.removeEventListener('pointercancel', end);
      if (pointer.type === 'pointerup') this.#to(step(begun, first, at(pointer)), true);
      if (element !== this.layers.turn.getElement()) element.focus({ preventScroll: true });
    };
    element.addEventListener('pointermove', go);
    element.addEventListener('pointerup', end);
    element.addEventListener('pointercancel', end);
  }

  #drag(event, element) {
    this.#follow(event, element, (begun, first, now) => ({ ...begun, lat: begun.lat + now.lat - first.lat, lon: begun.lon + now.lon - first.lon }));
  }

  #turning(event, element) {
    this.#follow(event, element, (begun, first, now) => ({ ...begun, bearing_deg: Math.round(bearing(begun, now)) % 180 }));
  }

  #key(event) {
    const step = (feet() ? FOOT_M : 0.3) * (event.shiftKey ? 10 : 1);
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    const turns = { '[': -1, ']': 1, '{': -15, '}': 15 };
    const [east, north] = moves[event.key] ?? [0, 0], turn = turns[event.key] ?? 0;
    if (!east && !north && !turn) return;
    event.preventDefault();
    event.stopPropagation();
    this.nudge(east, north, turn);
    if (turn) announce(`Ridge ${ridge(this.house.bearing_deg)}`);
  }

  #to(house, done) {
    this.house = house;
    this.#redraw();
    this.moved(house, done);
  }
}
