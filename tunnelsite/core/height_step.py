"""The step in which heights were stored, found from the values themselves: whole metres, 0.2 m, feet, centimetres ..."""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.core.units import FOOT_M, US_SURVEY_FOOT_M

LEAST_STEP_M = 0.004  # a millimetre, or what float32 cannot tell apart high up, changes no answer
MOST_STEP_M = 2.5
LOUD_STEP_M = 0.05  # from here on it comes before anything else
# Rounding of ground that falls by 1 % repeats every 100 steps; its correlation, 1 - 6 x (1 - x) over a share x of that (derived:
# rounding error is uniform along a slope), falls to 1/e at x = 0.12 and to 0 at 0.21. With 0.15 the errors of a footprint's two
# slopes come out as simulated on such ground, and no smaller than those of real ground that was rounded and then read as level.
RANGE_STEPS = 0.15 * 100
NAMED_M = (
    *(1.0, 2.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005),
    *(unit * share for unit in (FOOT_M, US_SURVEY_FOOT_M) for share in (1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02)),
)
_SAMPLE_CELLS, _LEAST_CELLS = 600_000, 25
_FINEST = 0.03  # of a step: what the numbers cannot tell apart must be far less, or anything lies on the lattice
_ON_LATTICE = 0.98  # share of the cells, where every height was rounded
_LEVELS_ON = 0.8  # share of the levels of level ground, where heights were made finer after rounding
_LEVELS = 4  # of these, so that a few lakes are no step
_OCCUPIED = 0.5  # share of the steps between the lowest and the highest of them; lakes leave most empty
_TWO_LEVELS, _TWO_APART_M = 200, 0.1  # flat land in whole metres has two heights
_LEVEL_SHARE = 0.05  # share of cells like their neighbours, for the step to be seen there
_UNEVEN = 0.1  # share of differences that the next one does not repeat; a ramp drawn by a formula repeats all of them


def height_step(values: np.ndarray, datum_m: float) -> float:
    """The step [m] that heights were rounded to; 0 where there is none, or none that can be seen.

    Arguments: values, float32 [rows, cols], metres above `datum_m`, NaN = no data, on their own cells (not warped).

    Every height of a rounded model lies on one lattice. A model that was rounded and then resampled or given lakes still
    shows the lattice where neighbours are equal: at many levels one step apart, whereas hydro-flattened lakes are few and
    voids have one level. A model drawn by a formula (a ramp along the rows) lies on a lattice too, but is not rounded: its
    differences repeat from cell to cell.
    """
    triples = _triples(values)
    known = np.isfinite(triples)
    if np.count_nonzero(known) < _LEAST_CELLS:
        return 0.0
    heights = triples.astype(np.float64) + datum_m
    apart = float(np.spacing(np.float32(np.abs(heights[known]).max()))) * 1.01 + 1e-6  # closer heights are one
    if not _uneven(heights, apart):
        return 0.0
    level, count = _levels(heights[known], apart)
    step, on = _lattice(level, apart)
    if not step and len(level) == 2:
        step, on = _two_levels(level, count, apart), np.ones(2, bool)
    if count[on].sum() < _ON_LATTICE * count.sum():
        step = 0.0
    return max(
        _named(step), _seen_on_level_ground(heights, apart, int(np.count_nonzero(known)))
    )  # a mean of four has quarter steps


def step_notes(name: str, step_m: float) -> tuple[list[str], list[str]]:
    """(doubts, notes) on the step of a model's heights. Arguments: name of its file; step_m, 0 = none."""
    if step_m <= 0:
        return [], []
    words = f"heights of {name} come in steps of {step_words(step_m)}"
    if step_m < LOUD_STEP_M:
        return [], [words]
    counted = f"{step_m / math.sqrt(12):.2g} m, correlated over {RANGE_STEPS * step_m:.2g} m"
    return [
        f"{words}: ground that reads as level may rise or fall by as much, so pitch, cut and water are rough; an error of at least "
        f"{counted}, is counted. Get the model with all its decimals"
    ], []


def step_words(step_m: float) -> str:
    """A step in the unit it was made in: `1 m`, `0.2 m`, `1 ft (0.305 m)`."""
    shares = [(step_m / unit, name) for unit, name in ((FOOT_M, "ft"), (US_SURVEY_FOOT_M, "US survey ft"))]
    for share, name in shares:
        if not any(step_m == metric for metric in NAMED_M[:10]) and abs(share * 100 - round(share * 100)) < 1e-4:
            return f"{share:.3g} {name} ({step_m:.3g} m)"
    return f"{step_m:.3g} m"


def _triples(values: np.ndarray) -> np.ndarray:
    """[n, 3, cols]: groups of three rows that follow one another, spread over the raster."""
    rows, cols = values.shape
    count = max(1, min(rows // 3, _SAMPLE_CELLS // (3 * cols)))
    first = np.linspace(0, max(rows - 3, 0), count).astype(int)
    return np.stack([np.asarray(values[k : k + 3]) for k in first])


def _uneven(heights: np.ndarray, apart: float) -> bool:
    """Whether differences between neighbours change from pair to pair, as those of real ground do."""
    differ = changes = 0
    for axis in (1, 2):
        if heights.shape[axis] < 3:
            continue
        one = np.diff(heights, axis=axis)
        two = np.abs(np.diff(one, axis=axis)) > 2 * apart  # NaN compares false
        there = np.abs(one) > apart
        there = there[:, :-1] if axis == 1 else there[:, :, :-1]
        differ += int(np.count_nonzero(there))
        changes += int(np.count_nonzero(there & two))
    return changes > _UNEVEN * differ


def _levels(heights: np.ndarray, apart: float) -> tuple[np.ndarray, np.ndarray]:
    """Heights that differ by more than `apart`, rising, and how many cells lie at each."""
    ordered = np.sort(heights)
    start = np.flatnonzero(np.diff(ordered, prepend=-np.inf) > apart)
    return ordered[start], np.diff(start, append=len(ordered))


def _lattice(level: np.ndarray, apart: float) -> tuple[float, np.ndarray]:
    """(step [m], which levels lie on its lattice) of the better of two guesses: levels that are missing widen the gaps, levels of
    lakes narrow them. Step 0 where there are fewer than three levels or no step between the bounds."""
    if len(level) < 3:
        return 0.0, np.zeros(len(level), bool)
    gaps = np.diff(level)
    guesses = (float(np.quantile(gaps, share, method="lower")) for share in (0.1, 0.5))
    return max((_fitted(level, gaps, guess, apart) for guess in guesses), key=lambda found: np.count_nonzero(found[1]))


def _fitted(level: np.ndarray, gaps: np.ndarray, guess: float, apart: float) -> tuple[float, np.ndarray]:
    none = 0.0, np.zeros(len(level), bool)
    if not max(LEAST_STEP_M, apart / _FINEST) <= guess <= MOST_STEP_M:
        return none
    rough = float(np.median(gaps[np.abs(gaps - guess) < 0.5 * guess]))
    number = np.concatenate([[0], np.cumsum(np.round(gaps / rough))])
    if number[-1] == 0:
        return none
    step = _named(float(np.polyfit(number, level - level[0], 1)[0]))
    phase = level / step
    middle = np.angle(np.mean(np.exp(2j * np.pi * phase))) / (2 * np.pi)
    away = np.abs((phase - middle + 0.5) % 1.0 - 0.5) * step
    return step, away <= 2 * apart + 0.01 * step


def _two_levels(level: np.ndarray, count: np.ndarray, apart: float) -> float:
    """The usual step between two heights that are whole numbers of it, over at least `_TWO_LEVELS` cells; else 0."""
    gap = float(level[1] - level[0])
    step = _named(gap)
    whole = level / step - np.round(level / step)
    found = step in NAMED_M and step >= _TWO_APART_M and count.sum() >= _TWO_LEVELS
    return step if found and (np.abs(whole) * step <= 2 * apart).all() else 0.0


def _named(step: float) -> float:
    """The usual step within a thousandth of one that was found, else the step itself; 0 stays 0."""
    usual = min(NAMED_M, key=lambda named: abs(named - step))
    return usual if abs(usual - step) <= 1e-3 * usual else step


def _seen_on_level_ground(heights: np.ndarray, apart: float, known: int) -> float:
    """The step by which the levels of cells like their neighbours to the east and south lie apart, or 0."""
    east = np.abs(np.diff(heights, axis=2)) <= apart
    south = np.abs(np.diff(heights, axis=1)) <= apart
    level = heights[:, :-1, :-1][east[:, :-1] & south[:, :, :-1]]
    if len(level) < _LEVEL_SHARE * known:
        return 0.0
    found, count = _levels(level, apart)
    found = found[count >= max(4.0, 2e-4 * known)]
    step, on = _lattice(found, apart)
    if not step or np.count_nonzero(on) < max(_LEVELS, _LEVELS_ON * len(found)):
        return 0.0
    steps = (found[on][-1] - found[on][0]) / step + 1
    return step if np.count_nonzero(on) >= _OCCUPIED * steps else 0.0
