// The circle round a place that data are fetched for: shown while it is asked for, kept nowhere.

let map, shown = null;

export function startCircle(onMap) {
  map = onMap;
}

/** Show the circle, or none; `go` moves the map there, where there is no ground to look at. */
export function showCircle(at, go) {
  shown?.remove();
  shown = at && L.circle([at.lat, at.lon], { radius: at.radius, color: '#1f2620', weight: 2, dashArray: '6 5', fill: false, interactive: false, pmIgnore: true }).addTo(map);
  if (shown && go) map.fitBounds(shown.getBounds(), { padding: [30, 30] });
}
