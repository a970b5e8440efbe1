// Amounts in words, in the user's unit. Everything that comes from the server is SI; feet are a matter of writing.

export const FOOT_M = 0.3048;
const CUBIC_YARD_M3 = 0.764554857984, ACRE_M2 = 4046.8564224;
const EIGHTHS = ['', '1/8', '1/4', '3/8', '1/2', '5/8', '3/4', '7/8'];
export const NOT_KNOWN = 'not assessed';
export const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
export const MONTH_NAMES = ['January', 'February', 'March', 'April', 'May', 'June', 'July', 'August', 'September', 'October',
  'November', 'December'];

/** Which unit the user reads: 'ft' or 'm'. Kept by the browser; feet until something else is chosen. */
export const unit = { now: 'ft' };
export const feet = () => unit.now === 'ft';
const known = (value) => value !== null && value !== undefined && Number.isFinite(value);
const rounded = (value, digits) => {
  const text = Math.abs(value).toFixed(digits);
  return (value < 0 && Number(text) !== 0 ? '−' : '') + text.replace(/\B(?=(\d{3})+(?!\d))/g, (_, at, all, end) => ',');
};

/** A length or distance [m], such as `38 ft` or `11.6 m`. */
export function length(metres) {
  if (!known(metres)) return NOT_KNOWN;
  if (!feet()) return `${rounded(metres, Math.abs(metres) < 100 ? 1 : 0)} m`;
  const value = metres / FOOT_M;
  return `${rounded(value, Math.abs(value) < 10 ? 1 : 0)} ft`;
}

/** A depth [m], in inches below 2 ft, else in feet and tenths. */
export function depth(metres) {
  if (!known(metres)) return NOT_KNOWN;
  if (!feet()) return Math.abs(metres) < 0.995 ? `${rounded(metres * 100, 0)} cm` : `${rounded(metres, 2)} m`;
  const inches = (metres / FOOT_M) * 12;
  return Math.abs(inches) < 23.5 ? `${rounded(inches, Math.abs(inches) < 3 ? 1 : 0)} in.` : `${rounded(inches / 12, 1)} ft`;
}

/** A pitch [%]: inches in 12 ft to the eighth, and per cent; per cent alone for users of metres. */
export function pitch(percent) {
  if (!known(percent)) return NOT_KNOWN;
  const share = `${rounded(Math.abs(percent), Math.abs(percent) < 10 ? 2 : 0)} %`;
  if (!feet()) return share;
  const eighths = Math.round((Math.abs(percent) / 100) * 144 * 8);
  const whole = Math.floor(eighths / 8), part = EIGHTHS[eighths % 8];
  const inches = [whole || !part ? String(whole) : '', part].filter(Boolean).join(' ');
  return `${inches} in. per 12 ft (${share})`;
}

/** A volume of earth [m3]. */
export function volume(cubicMetres) {
  if (!known(cubicMetres)) return NOT_KNOWN;
  const amount = feet() ? cubicMetres / CUBIC_YARD_M3 : cubicMetres;
  return `${rounded(amount, Math.abs(amount) < 99.95 ? 1 : 0)} ${feet() ? 'cu yd' : 'm³'}`;
}

/** An area [m2]: acres or square feet; hectares or square metres. */
export function area(squareMetres) {
  if (!known(squareMetres)) return NOT_KNOWN;
  if (feet()) {
    const acres = squareMetres / ACRE_M2;
    if (acres >= 0.2) return `${rounded(acres, acres < 1 ? 2 : acres < 10 ? 1 : 0)} ${acres.toFixed(1) === '1.0' ? 'acre' : 'acres'}`;
    return `${rounded(squareMetres / FOOT_M ** 2, 0)} sq ft`;
  }
  return squareMetres >= 1e4 ? `${rounded(squareMetres / 1e4, 1)} ha` : `${rounded(squareMetres, 0)} m²`;
}

/** A share 0..1 as per cent. */
export const share = (value) => (known(value) ? `${Math.round(value * 100)} %` : NOT_KNOWN);

/** A score 0..100. */
export const score = (value) => (known(value) ? rounded(value, 1) : '–');

/** A house such as `30x96ft` as people write it. */
export const sizeWords = (house) => house.replace('x', ' × ').replace(/(\d)(ft|m)$/, '$1 $2');

/** The number to show in a field for a length [m], and back: in the user's unit. */
export const inUnit = (metres) => (known(metres) ? Number((feet() ? metres / FOOT_M : metres).toFixed(feet() ? 1 : 2)) : '');
export const fromUnit = (value) => (value === '' || value === null ? null : Number(value) * (feet() ? FOOT_M : 1));

/** A length that was typed, with its unit: a bare number is in the user's own. */
export const withUnit = (text) => (/^[\d.]+$/.test(text) ? `${text} ${unit.now}` : text);

/** An amount with the unit that the settings and criteria give it, in the user's unit. */
export function amount(value, of) {
  if (!known(value)) return NOT_KNOWN;
  const write = { m: length, m2: area, m3: volume, '%': pitch, pct: pitch, '0-1': share, share, '': (v) => rounded(v, 2) }[of];
  return write ? write(value) : `${rounded(value, Math.abs(value) < 10 ? 2 : 0)} ${of}`;
}

/** A height of the ground [m]: feet to the whole, metres to the tenth. */
export const height = (metres) =>
  known(metres) ? (feet() ? `${rounded(metres / FOOT_M, 0)} ft` : `${rounded(metres, 1)} m`) : NOT_KNOWN;

const WINDS = ['N', 'NNE', 'NE', 'ENE', 'E', 'ESE', 'SE', 'SSE', 'S', 'SSW', 'SW', 'WSW', 'W', 'WNW', 'NW', 'NNW'];

/** The way a ridge runs, such as `E–W` or `ENE–WSW (72° from true north)`. */
export function ridge(bearing) {
  const turned = ((bearing % 180) + 180) % 180, at = Math.round(turned / 22.5) % 16;
  const name = `${WINDS[at]}–${WINDS[(at + 8) % 16]}`;
  return Math.abs(turned - at * 22.5) < 0.05 ? name : `${name} (${turned.toFixed(0)}° from true north)`;
}

/** Seconds left, in words that do not jump. */
export function left(seconds) {
  if (!known(seconds)) return '';
  if (seconds < 5) return 'a few seconds left';
  if (seconds < 90) return `about ${Math.ceil(seconds / 5) * 5} s left`;
  return `about ${Math.round(seconds / 60)} min left`;
}
