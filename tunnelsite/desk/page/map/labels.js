// Words on the map, none under another: the first groups keep their place, later ones step aside or wait until the map is nearer.

const ORDER = ['pins', 'ranks', 'before', 'names', 'heights'];
const APART_PX = { before: [80, 20], heights: [190, 70] }; // of two in one group, where they would crowd the map
const STEP_PX = 22, MOST_STEPS = 6, REST_MS = 200, TEXT_PX = 18, BADGE_PX = 26;
const groups = new Map(); // name -> {layer, labels}
let map, taken = () => [], waits = 0, ruler = null;
const widths = new Map();

/** `inTheWay()`: bounds [layer points] that names keep off besides each other. */
export function startLabels(onMap, inTheWay) {
  map = onMap;
  taken = inTheWay;
  for (const name of ORDER) groups.set(name, { layer: L.layerGroup().addTo(map), labels: [] });
  map.on('zoomend', lay);
}

/** The labels of a group: {at, words, kind, room}; one with a room, the bounds of what it names, may step aside in it. */
export function setLabels(name, labels) {
  groups.get(name).labels = labels;
  laySoon(0);
}

/** Lay them anew once the hand rests. */
export function laySoon(after = REST_MS) {
  clearTimeout(waits);
  waits = setTimeout(lay, after);
}

function lay() {
  if (!map._loaded) return;
  const held = taken();
  for (const name of ORDER) {
    const { layer, labels } = groups.get(name), apart = APART_PX[name], mine = [];
    layer.clearLayers();
    for (const each of labels) {
      const box = boxesOf(each).find((box) => !held.some((other) => other.intersects(box)) && !mine.some((other) => other.intersects(box) || (apart && near(other, box, apart))));
      if (!box) continue;
      mine.push(box);
      layer.addLayer(marker(each, box));
    }
    held.push(...mine);
  }
}

function near(a, b, [across, down]) {
  const by = a.getCenter().subtract(b.getCenter());
  return Math.abs(by.x) < across && Math.abs(by.y) < down;
}

/** Where a label may lie, the best place first. */
function boxesOf({ at, words, kind = '', room }) {
  const middle = map.latLngToLayerPoint(at), wide = widthOf(words);
  const box = (dx, dy, width = wide, height = TEXT_PX) => L.bounds(middle.add([dx - width / 2, dy - height / 2]), middle.add([dx + width / 2, dy + height / 2]));
  const badge = Math.max(BADGE_PX, wide + 14);
  if (kind === 'rank') return [[0, -30], [0, 30], [-24, -24], [24, -24], [-24, 24], [24, 24]].map(([dx, dy]) => box(dx, dy, badge, BADGE_PX));
  if (kind === 'pin') return [[-1.15, 0], [1.15, 0], [0, 1], [-1.15, 1.1], [1.15, 1.1], [-1.15, -1.1], [1.15, -1.1]].map(([dx, dy]) => box(dx * badge, dy * BADGE_PX, badge, BADGE_PX));
  if (kind === 'before') return [box(0, 20)];
  if (kind.startsWith('below')) return [box(0, 20), box(0, -20), box(wide / 2 + 16, 0), box(-wide / 2 - 16, 0)];
  return room ? stepsIn(room, wide).map(([dx, dy]) => box(dx, dy)) : [box(0, 0)];
}

/** Steps from the middle of what is named to just above and below it, the shortest first. */
function stepsIn(room, wide) {
  const [a, b] = [room.getNorthWest(), room.getSouthEast()].map((corner) => map.latLngToLayerPoint(corner));
  const most = (b.y - a.y) / 2 + TEXT_PX, aside = Math.max(0, (b.x - a.x - wide) / 2), found = [];
  for (let n = -MOST_STEPS; n <= MOST_STEPS; n += 1) {
    if (Math.abs(n * STEP_PX) > most) continue;
    for (const dx of aside ? [0, -aside, aside, -aside / 2, aside / 2] : [0]) found.push([dx, n * STEP_PX]);
  }
  return found.sort(([ax, ay], [bx, by]) => Math.hypot(ax, ay) - Math.hypot(bx, by));
}

function widthOf(words) {
  if (!ruler) {
    ruler = document.createElement('span'); // a word of the map out of sight
    Object.assign(ruler.style, { position: 'absolute', visibility: 'hidden' });
    map.getPane('labels').appendChild(document.createElement('div')).className = 'map-label';
    map.getPane('labels').lastChild.append(ruler);
  }
  if (!widths.has(words)) {
    ruler.textContent = words;
    widths.set(words, ruler.offsetWidth + 6); // and its halo
  }
  return widths.get(words);
}

/** A word with a white halo; it is never in the way of the pointer. */
function marker({ words, kind = '' }, box) {
  const made = L.marker(map.layerPointToLatLng(box.getCenter()), { icon: L.divIcon({ className: `map-label ${kind}`, html: '', iconSize: [0, 0] }), interactive: false, keyboard: false, pane: 'labels', pmIgnore: true });
  made.on('add', () => {
    const span = document.createElement('span');
    span.textContent = words;
    made.getElement().replaceChildren(span);
  });
  return made;
}
