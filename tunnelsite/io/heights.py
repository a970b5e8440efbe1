"""Stored numbers of a raster turned into metres above a datum, with everything that is no height made NaN."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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


def heights(stored: np.ndarray, band: StoredHeights, empty=()) -> tuple[np.ndarray, float, tuple[str, ...]]:
    """Heights in metres above a datum.

    Arguments: stored [rows, cols], a real dtype, overwritten; band; empty, index expressions of parts of
        `stored` that hold no data.
    Returns: float32 [rows, cols], NaN = no data; the datum [m], a whole number near the median; notes.
    """
    if stored.dtype.kind == "f":
        for part in empty:  # first, so that what stands in them is neither counted nor part of the median
            stored[part] = np.nan
    datum_m = _datum(stored, band)
    result = stored if stored.dtype == np.float32 else np.empty(stored.shape, np.float32)
    strip_rows = max(1, _STRIP_CELLS // max(1, stored.shape[1]))
    odd, zeros = _Odd(), 0
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
        zeros += np.count_nonzero(metres == 0.0)
        metres -= datum_m  # in float64, so that float32 keeps the micrometres
        result[strip] = metres
    for part in empty:
        result[part] = np.nan
    zero_notes = _void_zeros(result, datum_m, band, stored.dtype) if zeros else ()
    return result, datum_m, (*odd.notes(), *zero_notes)


class _Odd:
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
            return dtype.type(nodata)
    return nodata


def _datum(stored: np.ndarray, band: StoredHeights) -> float:
    rows, cols = stored.shape
    step = max(1, int((rows * cols / _SAMPLE_CELLS) ** 0.5))
    sample = stored[step // 2 :: step, step // 2 :: step] if min(rows, cols) > step else stored
    metres = _metres(sample, band)
    kept = (metres >= LOWEST_M) & (metres <= HIGHEST_M)
    if band.nodata is not None:
        kept &= sample != _as_stored(band.nodata, stored.dtype)
    return float(np.round(np.median(metres[kept]))) + 0.0 if kept.any() else 0.0  # + 0.0 turns -0.0 into 0.0


def _void_zeros(values: np.ndarray, datum_m: float, band: StoredHeights, dtype: np.dtype) -> tuple[str, ...]:
    """Make zeros no data where asked for or plain, and say what was found. A zero is a height of 0 to the
    micrometre."""
    if band.nodata == 0 or band.zero_is_nodata is False:
        return ()
    zero = values == np.float32(-datum_m)
    count = int(np.count_nonzero(zero))
    if not count:
        return ()
    other = values[~zero & ~np.isnan(values)]
    share = count / (count + len(other))
    words = f"{count} cells ({100 * share:.2g} % of those with data) are exactly 0"
    if band.zero_is_nodata:
        values[zero] = np.nan
        return (f"{words}: treated as no data, as asked",)
    gap_m = float(np.abs(other + np.float32(datum_m)).min()) if len(other) else 0.0
    if gap_m >= _ISOLATED_M:
        values[zero] = np.nan
        return (f"{words} and no other height is within {_ISOLATED_M:g} m of 0: treated as no data",)
    usual = _neighbours_of_zero(other, datum_m) if dtype.kind in "iu" else 0
    if share < _ZERO_SHARE or count <= 2 * usual:
        return ()
    return (f"{words}, often a filled void rather than ground: kept as ground; zero_is_nodata drops them",)


def _neighbours_of_zero(other: np.ndarray, datum_m: float) -> int:
    """How often whole-number heights beside 0 occur, to tell a filled void from ground near sea level."""
    return max(int(np.count_nonzero(np.abs(other - np.float32(step - datum_m)) < 0.5)) for step in (-1.0, 1.0))
