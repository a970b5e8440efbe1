"""Speed-up of wind over hills, ridges and escarpments: the topographic factor of ASCE 7."""

from __future__ import annotations

import math

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER, PLAIN
from tunnelsite.kernels.shared import shared
from tunnelsite.kernels.water.flow import COL_STEP, ROW_STEP

# Form: (K1 per H/Lh by exposure B, C, D; gamma; mu upwind; mu downwind of the crest).
FORMS = {
    "ridge": ({"B": 1.30, "C": 1.45, "D": 1.55}, 3.0, 1.5, 1.5),
    "escarpment": ({"B": 0.75, "C": 0.85, "D": 0.95}, 2.5, 1.5, 4.0),
    "hill": ({"B": 0.95, "C": 1.05, "D": 1.15}, 4.0, 1.5, 1.5),
}
LEAST_STEEPNESS, MOST_STEEPNESS = 0.2, 0.5  # of H/Lh: below the first there is no speed-up, above the second it is 0.5
LEAST_HEIGHT_M = {"B": 60 * 0.3048, "C": 15 * 0.3048, "D": 15 * 0.3048}
BROW = 0.05  # of the height below the highest ground; common practice, no source
PLATEAU = 2.0  # half lengths behind a brow, within which the highest ground is the top of the same slope; common practice, no source
REACHES_M = (50.0, 100.0, 200.0, 400.0, 800.0)  # a small knoll on the flank of a great hill is a feature of its own
_LEAST_M = LEAST_HEIGHT_M["C"]
_RIDGE = (FORMS["ridge"][0]["C"], *FORMS["ridge"][1:], LEAST_HEIGHT_M["C"])
_ESCARPMENT = (FORMS["escarpment"][0]["C"], *FORMS["escarpment"][1:], LEAST_HEIGHT_M["C"])


@njit(**INNER)
def _factor(form, tall, half, x, z):
    """The factor for one place; form = (K1 per H/Lh, gamma, mu upwind, mu downwind, least height)."""
    steepness = tall / half
    if steepness < LEAST_STEEPNESS or tall < form[4]:
        return 1.0
    length = 2 * tall if steepness > MOST_STEEPNESS else half
    mu = form[3] if x > 0 else form[2]
    k1 = form[0] * min(steepness, MOST_STEEPNESS)
    k2 = max(1.0 - abs(x) / (mu * length), 0.0)
    return (1.0 + k1 * k2 * math.exp(-form[1] * z / length)) ** 2


@njit(**PLAIN)
def _factors(form, lengths, out):
    for k in range(out.size):
        out[k] = _factor(form, lengths[0, k], lengths[1, k], lengths[2, k], lengths[3, k])


def topographic_factor(form, exposure, height_m, half_length_m, from_crest_m, above_m):
    """Topographic factor Kzt, by which the velocity pressure of wind is multiplied.

    Arguments:
        form: `ridge` (2-D ridge), `escarpment` (2-D) or `hill` (axisymmetric). exposure: `B`, `C` or `D`.
        height_m: H, height of the feature above the upwind terrain [m].
        half_length_m: Lh, distance upwind of the crest to half that height [m], more than 0.
        from_crest_m: x, distance of the site from the crest [m], positive downwind. above_m: z above the ground [m].
    Return: float64, shape of the broadcast arguments; 1 where H/Lh < 0.2 or H is under 15 ft (C, D) or 60 ft (B).
    Errors: ValueError for another form or exposure, or lengths that are not positive.
    Source: ASCE 7-16 and 7-22, section 26.8 and figure 26.8-1: Kzt = (1 + K1 K2 K3)^2, K1 = c H/Lh, K2 = 1 - |x|/(mu Lh),
    K3 = exp(-gamma z/Lh); for H/Lh > 0.5, 0.5 in K1 and 2 H for Lh in K2 and K3 [@asce7-kzt]. NOT tested here: that
    the feature stands alone upwind (100 H or 2 miles), sticks out by a factor of two, and that the site lies in its upper
    half or near its crest. Where one of these fails the code asks for 1, so what comes out is never too low by them.
    """
    if form not in FORMS:
        raise ValueError(f"form is {form!r}; expected one of {', '.join(FORMS)}")
    constants, *rest = FORMS[form]
    if exposure not in constants:
        raise ValueError(f"exposure is {exposure!r}; expected B, C or D")
    lengths = np.stack(np.broadcast_arrays(*np.atleast_1d(height_m, half_length_m, from_crest_m, above_m)))
    lengths = lengths.astype(np.float64)
    if (lengths[1] <= 0).any() or (lengths[3] < 0).any():
        raise ValueError("half_length_m must be more than 0 and above_m not below the ground")
    out = np.empty(lengths.shape[1:])
    _factors((constants[exposure], *rest, LEAST_HEIGHT_M[exposure]), lengths.reshape(4, -1), out.reshape(-1))
    return out if np.ndim(height_m) or np.ndim(half_length_m) or np.ndim(from_crest_m) or np.ndim(above_m) else out[0]


@njit(**INNER)
def _lowest(run, first, past):
    lowest = run[first]
    for k in range(first, past):
        lowest = min(lowest, run[k])
    return lowest


@njit(**INNER)
def _half_length(run, crest, tall):
    """Distance upwind of the crest to half the height, in samples; straight between them."""
    half = run[crest] - tall / 2
    at = crest - 1
    while run[at] > half:
        at -= 1
    return crest - at - (half - run[at]) / (run[at + 1] - run[at])


@njit(**INNER)
def _factor_of_crest(run, crest, at, step_m):
    """Factor at index `at` of a run without gaps whose crest is at `crest`."""
    if crest == 0 or crest == run.size - 1:
        return 1.0  # the ground goes on rising: this is no crest
    foot = _lowest(run, 0, crest)
    tall = run[crest] - foot
    if tall < _LEAST_M or run[at] < foot + tall / 2:
        return 1.0
    half = _half_length(run, crest, tall) * step_m
    form = _ESCARPMENT if run[crest] - _lowest(run, crest, run.size) < tall / 2 else _RIDGE
    return _factor(form, tall, half, (at - crest) * step_m, 0.0)


@njit(**PLAIN)
def section_factor(heights, step_m, site):
    """Topographic factor at one place of a section of the ground along the wind; exposure C, at the ground.

    Arguments: heights: float64 [n] [m], from far upwind to far downwind; NaN = no data. step_m: spacing [m]. site: index of the place.
    Return: 1 or more; NaN where the place holds no data. The crest is the highest ground of the known run round the place; where it
    lies at the run's end the ground goes on rising and there is none. H is its height above the lowest ground upwind, Lh the distance
    upwind to half of H; where the ground downwind falls by less than half of H it counts as an escarpment, else as a 2-D ridge, whose
    factor is the greatest. A plateau that goes on rising gently has its highest ground far from its edge: there the brow, the first
    ground from upwind within a twentieth of H, counts as well, if the highest lies farther behind it than twice its own Lh; the
    shoulder of a hill is no crest. A place in the lower half of the feature gets 1 (ASCE 7, 26.8.1). Choosing these lengths is a
    departure of ours: the code leaves the reading of the ground to the engineer.
    """
    if not np.isfinite(heights[site]):
        return np.nan
    first, last = site, site + 1
    while first > 0 and np.isfinite(heights[first - 1]):
        first -= 1
    while last < heights.size and np.isfinite(heights[last]):
        last += 1
    run, at = heights[first:last], site - first
    highest = 0
    for k in range(run.size):
        highest = k if run[k] > run[highest] else highest
    found = _factor_of_crest(run, highest, at, step_m)
    tall = run[highest] - _lowest(run, 0, highest + 1)
    brow = 0
    while run[brow] < run[highest] - BROW * tall:
        brow += 1
    if 0 < brow < highest:
        rise = run[brow] - _lowest(run, 0, brow)
        if rise > 0 and highest - brow > PLATEAU * _half_length(run, brow, rise):
            found = max(found, _factor_of_crest(run, brow, at, step_m))
    return found


@njit(**INNER)
def _greatest(padded, place, ways, counts, heights):
    """Greatest factor at one flat place of a padded ground over some winds and all reaches.

    Arguments: ways: int64 and float64 [winds], step down the array and its length [m]; counts: int64 [reaches], samples each way of
    a step of one cell; heights: float64 [samples], to be used.
    """
    found, here, middle = 1.0, padded[place], heights.size // 2
    heights[middle] = here
    for way in range(ways[0].size):
        step, step_m = ways[0][way], ways[1][way]
        known, lowest, highest, steepest = 0, here, here, 0.0
        for reach in counts[way]:
            was = lowest, highest
            for k in range(known + 1, reach + 1):
                before, after = padded[place - k * step], padded[place + k * step]
                heights[middle - k], heights[middle + k] = before, after
                steepest = max(steepest, heights[middle - k + 1] - before)  # of what rises with the wind
                steepest = max(steepest, after - heights[middle + k - 1])
                lowest, highest = min(lowest, before), max(highest, before, after)
            known = reach
            if (
                steepest < LEAST_STEEPNESS / 2 * step_m  # half of H within Lh
                or here - lowest < _LEAST_M / 2  # else it cannot lie in the upper half of anything
                or was == (lowest, highest)  # nothing new came into sight
            ):
                continue
            found = max(found, section_factor(heights[middle - reach : middle + reach + 1], step_m, reach))
    return found


@shared
def _greatest_of_all(mine, padded, asked, ways, counts, longest, found):
    width = padded.shape[1]
    for row in range(mine[0], mine[1]):
        heights = np.empty(2 * longest + 1)
        for col in range(found.shape[1]):
            place = np.int64(row + longest) * width + col + longest
            if asked[row, col]:
                found[row, col] = _greatest(padded.ravel(), place, ways, counts, heights)


def greatest_factor(ground, cell_m, wanted=None):
    """Return the greatest topographic factor of every cell: eight winds along rows, columns and diagonals, features of 50 to 800 m.

    Arguments: ground: float32 [rows, cols] [m], NaN = no data; cell_m [m]; wanted: bool [rows, cols], None = all.
    Return: float32 [rows, cols], 1 or more, NaN where the ground is and where it is not wanted. ASCE 7 judges upwind ground by sectors
    of 45 deg [@asce7-sectors].
    """
    longest = max(1, round(REACHES_M[-1] / cell_m))
    padded = np.pad(np.asarray(ground, np.float64), longest, constant_values=np.nan)
    ways = (ROW_STEP * padded.shape[1] + COL_STEP).astype(np.int64), cell_m * np.hypot(ROW_STEP, COL_STEP)
    counts = np.maximum(np.rint(np.array(REACHES_M) / ways[1][:, None]), 1).astype(np.int64)
    found = np.full(ground.shape, np.float32(np.nan))
    asked = np.isfinite(ground) if wanted is None else np.isfinite(ground) & wanted
    _greatest_of_all(len(found), padded, asked, ways, counts, longest, found)
    return found
