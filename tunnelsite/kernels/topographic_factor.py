"""Speed-up of wind over hills, ridges and escarpments: the topographic factor of ASCE 7."""

from __future__ import annotations

import math

import numpy as np

# Form: (K1 per H/Lh by exposure B, C, D; gamma; mu upwind; mu downwind of the crest).
FORMS = {
    "ridge": ({"B": 1.30, "C": 1.45, "D": 1.55}, 3.0, 1.5, 1.5),
    "escarpment": ({"B": 0.75, "C": 0.85, "D": 0.95}, 2.5, 1.5, 4.0),
    "hill": ({"B": 0.95, "C": 1.05, "D": 1.15}, 4.0, 1.5, 1.5),
}
LEAST_STEEPNESS, MOST_STEEPNESS = 0.2, 0.5  # of H/Lh: below the first there is no speed-up, above the second it is 0.5
BROW = 0.1  # of the height below the highest ground; common practice, no source
LEAST_HEIGHT_M = {"B": 60 * 0.3048, "C": 15 * 0.3048, "D": 15 * 0.3048}


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
    constants, gamma, mu_upwind, mu_downwind = FORMS[form]
    if exposure not in constants:
        raise ValueError(f"exposure is {exposure!r}; expected B, C or D")
    tall, half, x, z = np.broadcast_arrays(
        *(np.asarray(item, np.float64) for item in (height_m, half_length_m, from_crest_m, above_m))
    )
    if (half <= 0).any() or (z < 0).any():
        raise ValueError("half_length_m must be more than 0 and above_m not below the ground")
    steepness = tall / half
    length = np.where(steepness > MOST_STEEPNESS, 2 * tall, half)
    mu = np.where(x > 0, mu_downwind, mu_upwind)
    k1 = constants[exposure] * np.minimum(steepness, MOST_STEEPNESS)
    k2 = np.maximum(1.0 - np.abs(x) / (mu * length), 0.0)
    k3 = np.exp(-gamma * z / length)
    counts = (steepness >= LEAST_STEEPNESS) & (tall >= LEAST_HEIGHT_M[exposure])
    return np.where(counts, (1.0 + k1 * k2 * k3) ** 2, 1.0)


def section_factor(heights, step_m, site, exposure="C", above_m=0.0):
    """Topographic factor at one place of a section of the ground along the wind, for a warning only.

    Arguments:
        heights: float [n] [m], the ground from far upwind to far downwind; NaN = no data. step_m: spacing [m].
        site: index of the place. exposure: `B`, `C` or `D`. above_m: height above the ground [m].
    Return: float, 1 or more; NaN where the section holds no data at the place. The crest is the highest ground of the known
    run round the place, or the brow, the first ground from upwind within a tenth of that height, whichever gives more (a
    plateau that goes on rising gently has its highest ground far from its edge); H its height above the lowest
    ground upwind, Lh the distance upwind to half of H; where the ground
    downwind falls by less than half of H it counts as an escarpment, else as a 2-D ridge, whose factor is the greatest. A
    place in the lower half of the feature gets 1 (ASCE 7, 26.8.1). Choosing these lengths is a departure of ours: the code
    leaves the reading of the ground to the engineer.
    """
    z = np.asarray(heights, np.float64)
    if not np.isfinite(z[site]):
        return math.nan
    gaps = np.flatnonzero(~np.isfinite(z))
    first = int(gaps[gaps < site].max()) + 1 if (gaps < site).any() else 0
    last = int(gaps[gaps > site].min()) if (gaps > site).any() else len(z)
    run, at = z[first:last], site - first
    highest = int(np.argmax(run))
    brow = int(np.argmax(run >= run[highest] - BROW * (run[highest] - run[: highest + 1].min())))
    return max(_factor_of_crest(run, crest, at, step_m, (exposure, above_m)) for crest in {highest, brow})


def _factor_of_crest(run, crest, at, step_m, how):
    """Topographic factor at index `at` of a run without gaps whose crest is at `crest`; how = (exposure, above_m)."""
    if crest == 0:
        return 1.0
    foot = float(run[:crest].min())
    tall = float(run[crest]) - foot
    if tall <= 0 or run[at] < foot + tall / 2:
        return 1.0
    below = np.flatnonzero(run[:crest] <= run[crest] - tall / 2)
    half_length = (crest - int(below.max())) * step_m
    form = "escarpment" if run[crest] - float(run[crest:].min()) < tall / 2 else "ridge"
    return float(topographic_factor(form, how[0], tall, half_length, (at - crest) * step_m, how[1]))
