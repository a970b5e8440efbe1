// The map itself: no basemap, our own controls, a scale in both units, a north arrow.

import { s } from '../look/dom.js';

/** The map over its element. It asks for nothing but the overlays that are put on it. */
export function openMap(element) {
  const map = L.map(element, {
    zoomControl: false, attributionControl: false, zoomSnap: 0.25, zoomDelta: 0.5, minZoom: 8, maxZoom: 22, doubleClickZoom: false,
    renderer: L.svg({ padding: 0.6 }), pmIgnore: false,
  });
  map.pm.setLang('en', WORDS, 'en');
  // no snapping: it looks at where the pointer was a tenth of a second ago, and a quick click or a tap would be lost
  map.pm.setGlobalOptions({ snappable: false, allowSelfIntersection: false, continueDrawing: false });
  L.control.zoom({ position: 'topleft', zoomInTitle: 'Nearer', zoomOutTitle: 'Farther' }).addTo(map);
  L.control.scale({ position: 'bottomleft', maxWidth: 130 }).addTo(map);
  northArrow().addTo(map);
  for (const [name, level] of [['ground', 210], ['background', 220], ['rasters', 230], ['contours', 330], ['house', 620], ['labels', 640]]) {
    map.createPane(name).style.zIndex = level;
  }
  map.getPane('labels').style.pointerEvents = 'none';
  return map;
}

// What the drawing tool says at the pointer.
const WORDS = {
  tooltips: {
    placeMarker: 'Click where it stands',
    firstVertex: 'Click the first corner',
    continueLine: 'Click the next corner',
    finishLine: 'Click the last corner again to finish',
    finishPoly: 'Click the first corner to close the outline',
    startCircle: 'Click the middle',
    finishCircle: 'Click where the edge should be',
  },
};

function northArrow() {
  const control = L.control({ position: 'topright' });
  control.onAdd = () => {
    const drawing = s('svg', { class: 'north', viewBox: '0 0 38 52', role: 'img', 'aria-label': 'True north is up' },
      s('path', { d: 'M19 18 L27 47 L19 41 L11 47 Z', fill: '#1f2620' }),
      s('path', { d: 'M19 18 L19 41 L11 47 Z', fill: '#fff', stroke: '#1f2620', 'stroke-width': 1 }),
      s('text', { x: 19, y: 14, 'text-anchor': 'middle' }, 'N'));
    return drawing;
  };
  return control;
}

/** Put on the map those labels of a list (the first ones first) that keep `pixels` off those already there; the others come with zooming in. */
export function spread(map, group, labels, pixels) {
  const held = [];
  group.clearLayers();
  for (const each of labels) {
    const at = map.latLngToLayerPoint(each.getLatLng());
    if (held.some((other) => Math.abs(other.x - at.x) < pixels[0] && Math.abs(other.y - at.y) < pixels[1])) continue;
    held.push(at);
    group.addLayer(each);
  }
}

/** A label on the map: words with a white halo; it is never in the way of the pointer. */
export function label(at, words, kind = '') {
  const icon = L.divIcon({ className: `map-label ${kind}`, html: '', iconSize: [0, 0] });
  const marker = L.marker(at, { icon, interactive: false, keyboard: false, pane: 'labels', pmIgnore: true });
  marker.on('add', () => {
    const span = document.createElement('span');
    span.textContent = words;
    marker.getElement().replaceChildren(span);
  });
  return marker;
}
