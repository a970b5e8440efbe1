"""Stored numbers of a raster turned into metres above a datum, with everything that is no height made NaN."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.layers import Part

# No land lies lower or higher (Dead Sea shore about -430 m, Everest 8849 m: common knowledge, no source
# looked up).
# Whatever is outside is a forgotten no-data value (-9999, -32768, float minimum ...), damage, or the wrong
# unit.
LOWEST_M, HIGHEST_M = -500.0, 9000.0
_ISOLATED_M = 20.0  # zeros this far from every other height are voids, not ground
_ZERO_SHARE = 0.001  # and from this share on zeros near other heights are worth a word
_STRIP_CELLS = 1 << 17  # small enough for the processor's cache
_SAMPLE_CELLS = 20000


@dataclass(frozen=True)
class StoredHeights:
    """How the numbers of one band are to be read.

    Attributes:
        nodata: declared no-data value or None. scale, offset: stored number to height in the file's unit.
        unit_m: vertical unit [m]. zero_is_nodata: True, False, or None to judge it from the values.
    """

    nodata: float | None = None
    scale: float = 1.0
    offset: float = 0.0
    unit_m: float = 1.0
    zero_is_nodata: bool | None = None


def heights(
    stored: np.ndarray, band: StoredHeights, empty: Iterable[Part] = ()
) -> tuple[np.ndarray, float, tuple[str, ...]]:
    """Heights in metres above a datum.

    Arguments: stored [rows, cols], a real dtype, overwritten; band; empty, index expressions of parts of
        `stored` that hold no data.
    Returns: float32 [rows, cols], NaN = no data; the datum [m], a whole number near the median; notes.
    """
    blank(stored, empty)
    datum_m = middle_datum([datum_sample(stored, band, stored.shape)])
    odd = Odd()
    result, zeros = above_datum(stored, band, datum_m, odd)
    for part in empty:
        result[part] = np.nan
    drop, zero_notes = False, tuple[str, ...]()
    if zeros and zeros_are_asked_about(band):
        found = Zeros()
        found.add(result, datum_m)
        drop, zero_notes = found.judged(band, stored.dtype)
    if drop:
        result[result == np.float32(-datum_m)] = np.nan
    return result, datum_m, (*odd.notes(), *zero_notes)


def blank(stored: np.ndarray, empty: Iterable[Part]) -> None:
    """Make NaN of what holds no data, where the numbers can: it is neither counted then nor part of the median."""
    if stored.dtype.kind == "f":
        for part in empty:
            stored[part] = np.nan


def above_datum(
    stored: np.ndarray, band: StoredHeights, datum_m: float, odd: Odd, *, reuse: bool = True
) -> tuple[np.ndarray, int]:
    """float32 metres above a datum, NaN = no data, and how many are exactly 0 above sea level; what can be no land goes to `odd`.

    Arguments: stored [rows, cols], overwritten where `reuse` and it is float32 already.
    """
    result = stored if reuse and stored.dtype == np.float32 else np.empty(stored.shape, np.float32)
    strip_rows = max(1, _STRIP_CELLS // max(1, stored.shape[1]))
    zeros = 0
    for first in range(0, len(stored), strip_rows):
        strip = slice(first, first + strip_rows)
        metres = _metres(stored[strip], band)
        inside = metres >= LOWEST_M  # false for NaN too
        inside &= metres <= HIGHEST_M
        declared = None
        if band.nodata is not None and not np.isnan(band.nodata):
            declared = stored[strip] == _as_stored(band.nodata, stored.dtype)
        if not inside.all():
            odd.add(metres[~inside] if declared is None else metres[~inside & ~declared])
            metres[~inside] = np.nan
        if declared is not None and declared.any():
            metres[declared] = np.nan
        zeros += int(np.count_nonzero(metres == 0.0))
        metres -= datum_m  # in float64, so that float32 keeps the micrometres
        result[strip] = metres
    return result, zeros


class Odd:
    """Counts the undeclared cells that can be no land."""

    def __init__(self) -> None:
        self.count, self.least, self.most = 0, np.inf, -np.inf

    def add(self, metres: np.ndarray) -> None:
        metres = metres[~np.isnan(metres)]  # an undeclared NaN is plain enough
        if len(metres):
            self.count += len(metres)
            self.least, self.most = min(self.least, metres.min()), max(self.most, metres.max())

    def notes(self) -> tuple[str, ...]:
        if not self.count:
            return ()
        values = f"{self.least:g} m" if self.least == self.most else f"{self.least:g} to {self.most:g} m"
        return (
            f"{self.count} cells hold {values}, outside {LOWEST_M:g} to {HIGHEST_M:g} m, "
            "without being declared no data: treated as no data",
        )


def _metres(stored: np.ndarray, band: StoredHeights) -> np.ndarray:
    metres = stored.astype(np.float64)
    if band.scale != 1.0:
        metres *= band.scale
    if band.offset != 0.0:
        metres += band.offset
    if band.unit_m != 1.0:
        metres *= band.unit_m
    return metres


def _as_stored(nodata: float, dtype: np.dtype) -> np.generic | float:
    """The declared value as the file's numbers can hold it; a float32 file holds -9999.9 only nearly."""
    if dtype.kind == "f":
        with np.errstate(over="ignore"):
            stored: np.generic = dtype.type(nodata)
            return stored
    return nodata


def datum_sample(
    stored: np.ndarray, band: StoredHeights, whole: tuple[int, int], at: tuple[int, int] = (0, 0)
) -> np.ndarray:
    """The heights [m] of evenly spread cells from which the datum of a raster is taken, as far as a part of it holds them.

    Arguments: stored, the part; whole, shape of the raster; at, (row, col) of the part's first cell in it.
    """
    step = max(1, int((whole[0] * whole[1] / _SAMPLE_CELLS) ** 0.5))
    if min(whole) > step:
        first = [(step // 2 - k) % step if k > step // 2 else step // 2 - k for k in at]
        stored = stored[first[0] :: step, first[1] :: step]
    metres = _metres(stored, band)
    kept = (metres >= LOWEST_M) & (metres <= HIGHEST_M)
    if band.nodata is not None:
        kept &= stored != _as_stored(band.nodata, stored.dtype)
    return metres[kept]


def middle_datum(samples: Iterable[np.ndarray]) -> float:
    """A whole number [m] near the median of samples; 0 where there are none."""
    metres = np.concatenate([np.empty(0), *samples])
    return float(np.round(np.median(metres))) + 0.0 if len(metres) else 0.0  # + 0.0 turns -0.0 into 0.0


def zeros_are_asked_about(band: StoredHeights) -> bool:
    """Whether heights of exactly 0 may be voids: not where the file or the user has said what they are."""
    return band.nodata != 0 and band.zero_is_nodata is not False


class Zeros:
    """Heights of exactly 0 (to the micrometre) and what lies near them, counted over a raster or its parts."""

    def __init__(self) -> None:
        self.count, self.others, self.gap_m, self.beside = 0, 0, np.inf, [0, 0]

    def add(self, values: np.ndarray, datum_m: float) -> None:
        """Count a part: float32 metres above the datum."""
        zero = values == np.float32(-datum_m)
        other = values[~zero & ~np.isnan(values)]
        self.count += int(np.count_nonzero(zero))
        self.others += len(other)
        if len(other):
            self.gap_m = min(self.gap_m, float(np.abs(other + np.float32(datum_m)).min()))
            for k, step in enumerate((-1.0, 1.0)):  # how often whole-number heights beside 0 occur
                self.beside[k] += int(np.count_nonzero(np.abs(other - np.float32(step - datum_m)) < 0.5))

    def judged(self, band: StoredHeights, dtype: np.dtype) -> tuple[bool, tuple[str, ...]]:
        """Whether they are no data, asked for or plain, and the note on it."""
        if not self.count:
            return False, ()
        share = self.count / (self.count + self.others)
        words = f"{self.count} cells ({100 * share:.2g} % of those with data) are exactly 0"
        if band.zero_is_nodata:
            return True, (f"{words}: treated as no data, as asked",)
        if (self.gap_m if self.others else 0.0) >= _ISOLATED_M:
            return True, (f"{words} and no other height is within {_ISOLATED_M:g} m of 0: treated as no data",)
        usual = max(self.beside) if dtype.kind in "iu" else 0  # tells a filled void from ground near sea level
        if share < _ZERO_SHARE or self.count <= 2 * usual:
            return False, ()
        return False, (f"{words}, often a filled void rather than ground: kept as ground; --zero-is-nodata drops them",)
