"""What a measure with a normal error is worth on average: expected marks, and the expected steeper of two slopes."""

import math
from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.compiled import njit
from tunnelsite.kernels.options import INNER
from tunnelsite.kernels.shared import shared

_ROOT_2 = math.sqrt(2.0)
_PEAK = 1.0 / math.sqrt(2.0 * math.pi)  # of the normal density
_FAR = 6.0  # standard errors from a bend of the curve; beyond them a bend changes a mark by less than 1e-9 of them


class Steeper(NamedTuple):
    """The larger of two absolute slopes, each with a normal error: `mean` and standard error `se`, in the unit of the slopes."""

    mean: np.ndarray
    se: np.ndarray


def expected_marks(mean: np.ndarray, se: np.ndarray, full_at: float, none_at: float) -> np.ndarray:
    """Return E[marks(x)] for x normal round `mean` with standard error `se`; marks run straight from `none_at` to `full_at`.

    mean, se: float [n], in one unit; NaN = not assessed. se 0 = exact.
    full_at, none_at: where marks are 1 and 0; either may be the larger.
    Return: float64 [n], 0..1; NaN where not assessed, and where the error is wider than the whole curve: then the measure says
    nothing about the mark.
    With t = (mean - none) / (full - none) and s = se / |full - none| it is s (psi(t / s) - psi((t - 1) / s)), psi(u) =
    u Phi(u) + phi(u), the integral of the normal distribution function (derived; integration by parts).
    """
    mean, se = np.broadcast_arrays(np.asarray(mean, np.float64), np.asarray(se, np.float64))
    out = np.empty(mean.shape)
    _expected_marks(mean.size, mean.ravel(), se.ravel(), float(full_at), float(none_at), out.reshape(-1))
    return out


class Excess(NamedTuple):
    """How far a normal number is expected to lie beyond a limit either way: `mean` of (|x| - limit)+, in its unit, and the `chance` that it
    lies beyond."""

    mean: np.ndarray
    chance: np.ndarray


class SlopeExcess(NamedTuple):
    """The excess of two slopes [fraction]."""

    along: Excess
    across: Excess


def expected_excess(mean: np.ndarray, se: np.ndarray, limit: float) -> Excess:
    """Return E[(|x| - limit)+] and P(|x| > limit) for x normal round `mean` with standard error `se`.

    mean, se: float [any one shape], in one unit; NaN = not known; se 0 = exact. limit: 0 or more.
    Return: Excess, float64 arrays; NaN where not known. With psi as in `expected_marks` the mean is se (psi((x - limit) / se) + psi((-x -
    limit) / se)) (derived).
    """
    out = Excess(np.empty(mean.shape), np.empty(mean.shape))
    flat = (np.ascontiguousarray(part, np.float64).ravel() for part in (mean, se))
    _excess(out.mean.size, *flat, float(limit), *(part.reshape(-1) for part in out))
    return out


@shared
def _excess(mine, mean, se, limit, out, chance):
    for k in range(mine[0], mine[1]):
        x, spread = abs(mean[k]), se[k]
        if not (spread >= 0.0 and x < np.inf):
            out[k] = chance[k] = np.nan
        elif spread == 0.0 or abs(x - limit) > _FAR * spread:
            out[k], chance[k] = max(x - limit, 0.0), 1.0 if x > limit else 0.0
        else:
            near, far = (x - limit) / spread, (-x - limit) / spread
            out[k], chance[k] = spread * (_psi(near) + _psi(far)), _below(near) + _below(far)


@shared
def _expected_marks(mine, mean, se, full_at, none_at, out):
    span = abs(full_at - none_at)
    for k in range(mine[0], mine[1]):
        at, spread = (mean[k] - none_at) / (full_at - none_at), se[k] / span
        if not spread <= 1.0 or at != at:
            out[k] = np.nan
        elif spread == 0.0 or (abs(at) > _FAR * spread and abs(at - 1.0) > _FAR * spread):
            out[k] = min(max(at, 0.0), 1.0)
        else:
            out[k] = min(max(spread * (_psi(at / spread) - _psi((at - 1.0) / spread)), 0.0), 1.0)


@njit(**INNER)
def _psi(u):
    if abs(u) > _FAR:
        return max(u, 0.0)
    return u * _below(u) + _PEAK * math.exp(-0.5 * u * u)


@njit(**INNER)
def _below(u):
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-u / _ROOT_2)


def steeper_slope(along: np.ndarray, across: np.ndarray, se_along: np.ndarray, se_across: np.ndarray) -> Steeper:
    """Return mean and standard error of max(|a|, |b|) for independent normal slopes a and b round the measured ones.

    Arguments: float [any shape], in one unit; standard errors of 0 or more; NaN = not known.
    Return: Steeper, float32 arrays; NaN where a slope or an error is not known.
    Each |slope| is a folded normal [leone-1961]; the moments of their
    maximum are those of two normals [clark-1961]. Departure: the folded
    normals are taken as normal in that step; the mean then is off by up to 4 %, the standard error by up to 18 % (tested).
    """
    parts = np.broadcast_arrays(*(np.asarray(part, np.float64) for part in (along, across, se_along, se_across)))
    mean, se = np.empty(parts[0].shape, np.float32), np.empty(parts[0].shape, np.float32)
    _steeper(mean.size, *(part.ravel() for part in parts), mean.reshape(-1), se.reshape(-1))
    return Steeper(mean, se)


@shared
def _steeper(mine, along, across, se_along, se_across, mean, se):
    for k in range(mine[0], mine[1]):
        if not (se_along[k] >= 0.0 and se_across[k] >= 0.0):  # most are out of the running by now
            mean[k] = se[k] = np.nan
            continue
        one, var_one = _folded(along[k], se_along[k])
        two, var_two = _folded(across[k], se_across[k])
        spread = math.sqrt(var_one + var_two)
        if not spread >= 0.0:
            mean[k], se[k] = np.nan, np.nan
        elif spread == 0.0:
            mean[k], se[k] = max(one, two), 0.0
        elif abs(one - two) > _FAR * spread:
            mean[k], se[k] = max(one, two), math.sqrt(var_one if one > two else var_two)
        else:
            gap = (one - two) / spread
            first, second, peak = _below(gap), _below(-gap), _PEAK * math.exp(-0.5 * gap * gap)
            middle = one * first + two * second + spread * peak
            square = (one**2 + var_one) * first + (two**2 + var_two) * second + (one + two) * spread * peak
            mean[k], se[k] = middle, math.sqrt(max(square - middle**2, 0.0))


@njit(**INNER)
def _folded(slope, error):
    """Mean and variance of |x| for x normal round `slope`."""
    if error == 0.0:
        return abs(slope), 0.0
    u = slope / error
    if abs(u) > _FAR:
        return abs(slope), error**2
    mean = error * 2.0 * _PEAK * math.exp(-0.5 * u * u) + slope * math.erf(u / _ROOT_2)
    return mean, max(slope**2 + error**2 - mean**2, 0.0)
