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
