// Metres round a place on the ellipsoid, good to a millimetre over a house's length.

const A = 6378137.0, F = 1 / 298.257223563, E2 = F * (2 - F); // WGS 84

/** Metres in a degree of latitude and of longitude at a latitude. */
export function metresInDegree(lat) {
  const phi = (lat * Math.PI) / 180, w2 = 1 - E2 * Math.sin(phi) ** 2;
  const turn = Math.PI / 180;
  return { north: ((A * (1 - E2)) / w2 ** 1.5) * turn, east: (A / Math.sqrt(w2)) * Math.cos(phi) * turn };
}

/** The place so many metres east and north of another one. */
export function shifted(place, east, north) {
  const scale = metresInDegree(place.lat);
  return { lat: place.lat + north / scale.north, lon: place.lon + east / scale.east };
}

/** Metres east and north from one place to another. */
export function offset(from, to) {
  const scale = metresInDegree(from.lat);
  return { east: (to.lon - from.lon) * scale.east, north: (to.lat - from.lat) * scale.north };
}

/** Metres between two places. */
export function apart(from, to) {
  const by = offset(from, to);
  return Math.hypot(by.east, by.north);
}

/** A point `along` metres on the ridge's bearing and `across` metres to its right, as [lat, lon]. */
export function onHouse(house, along, across) {
  const turn = (house.bearing_deg * Math.PI) / 180;
  const east = along * Math.sin(turn) + across * Math.cos(turn), north = along * Math.cos(turn) - across * Math.sin(turn);
  const at = shifted(house, east, north);
  return [at.lat, at.lon];
}

/** The corners of a rectangle of the house's size, `out` metres wider on each side. */
export function rectangle(house, out = 0) {
  const l = house.length_m / 2 + out, w = house.width_m / 2 + out;
  return [onHouse(house, l, w), onHouse(house, l, -w), onHouse(house, -l, -w), onHouse(house, -l, w)];
}

/** Bearing in degrees from true north, from one place to another. */
export function bearing(from, to) {
  const by = offset(from, to);
  return ((Math.atan2(by.east, by.north) * 180) / Math.PI + 360) % 360;
}
