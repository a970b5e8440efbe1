"""How far the slopes of a footprint's plane may be off: errors of the elevations, and ground that the model's cells hide.

A slope is a sum of elevations, so its error follows from how those are correlated over distance. Lengths are metres.
"""

from typing import NamedTuple

import numpy as np

from tunnelsite.kernels.coverage import axis_coverage, axis_weights

EXPONENTS = np.array(
    [0.5, 0.7, 0.9, 1.05, 1.2]
)  # of natural ground; beyond them the estimate from few cells is not trusted
PHASES = 4  # places of the footprint between the model's cells, along each axis
WAVES, DIRECTIONS = (
    72,
    32,
)  # of the sum over wave numbers: within 7 % of one seven times as fine, 2 % where cells are coarse


class HiddenGround(NamedTuple):
    """What ground of each exponent does to a footprint, per unit of its mean square second difference at `lag_cells`.

    along, across: float64 [exponents], variance of the plane's slopes [1/m2]. growth: float64 [exponents], mean square at
    twice the lag over that at the lag.
    """

    along: np.ndarray
    across: np.ndarray
    growth: np.ndarray
    lag_cells: int

    def slope_errors(self, near_m2: np.ndarray, far_m2: np.ndarray) -> "SlopeErrors":
        """Standard errors of the slopes along and across [fraction] from the mean square second difference at the lag and at
        twice the lag [m2], arrays of one shape; NaN where the first is not known. Where the second is not, the roughest
        ground is taken."""
        near, far = np.asarray(near_m2, np.float64), np.asarray(far_m2, np.float64)
        growth = np.divide(far, near, out=np.zeros_like(near), where=near > 0)
        growth = np.where(np.isfinite(growth), growth, self.growth[0])
        found = (np.interp(growth, self.growth, part) for part in (self.along, self.across))
        return SlopeErrors(*(np.sqrt(near * part) for part in found))


class SlopeErrors(NamedTuple):
    """Standard errors of the slopes of a plane along and across [fraction]; NaN = not known."""

    along: np.ndarray
    across: np.ndarray


def slope_error(length_m: float, width_m: float, cell_m: float, sigma_m: float, range_m: float) -> tuple[float, float]:
    """Standard deviation of the plane's slopes (along, across) [fraction] under stationary errors of the elevations.

    Arguments: footprint and cell [m]; sigma_m, standard deviation of one cell's error [m]; range_m, distance at which the
    correlation exp(-(d / range)^2) falls to 1/e [m]; 0 = independent cells, then it is sigma / sqrt(sum(u^2)) for whole
    cells. Exact: the plane is linear in the elevations and this correlation is a product of one along and one across.
    NaN across an axis with one cell, where no slope is defined.
    """
    sums = []
    for size in (length_m, width_m):
        at, level, tilt = _axis(size, cell_m)
        sums.append((_variance(at, level, range_m), _variance(at, tilt, range_m)))
    (level_u, tilt_u), (level_v, tilt_v) = sums
    return float(sigma_m * np.sqrt(tilt_u * level_v)), float(sigma_m * np.sqrt(tilt_v * level_u))


def second_difference_variance(lag_m: float, range_m: float) -> float:
    """Variance of z(x + lag) - 2 z(x) + z(x - lag) for errors of variance 1 and correlation exp(-(d / range)^2); range 0 =
    independent. Derived: 6 - 8 rho(lag) + 2 rho(2 lag)."""
    return _variance(np.array([-lag_m, 0.0, lag_m]), np.array([1.0, -2.0, 1.0]), range_m)


def _variance(at_m: np.ndarray, weights: np.ndarray, range_m: float) -> float:
    """Variance of a weighted sum of errors of variance 1."""
    gap = at_m[:, None] - at_m
    alike = np.exp(-((gap / range_m) ** 2)) if range_m > 0 else (gap == 0).astype(float)
    return float(weights @ alike @ weights)


def hidden_ground(length_m: float, width_m: float, cell_m: float, own_m: float) -> HiddenGround:
    """What ground smaller than the elevation model's cells does to the slopes of a footprint.

    Arguments: footprint, working cell, the model's own cell [m] (the working cell where that is not known or finer).
    Source: the slope of the true ground under the rectangle less that of the model is a linear functional that no plane moves; its
    variance is the integral of its squared Fourier transform times the spectrum of the ground (derived). Each cell of the
    model is taken as the mean of the ground in it, interpolated bilinearly to the working cells, the footprint anywhere
    between them. The spectrum is isotropic and falls as a power, k^-(2 + 2 H): fractal ground, H = `EXPONENTS` (power-law
    spectra of topography [@turcotte-1997]). The same integral for second differences of the model
    links what hides to what shows. Departure: the model's rows are taken as parallel to the footprint's.
    """
    interpolated = own_m > 0.8 * cell_m
    own_m = max(own_m, cell_m)
    lag = max(1, round(own_m / cell_m))
    longest, shortest = max(length_m, own_m), min(width_m, length_m, own_m)
    k = np.geomspace(2 * np.pi / (60 * longest), 2 * np.pi * 12 / shortest, WAVES)
    turn = (np.arange(DIRECTIONS) + 0.5) * np.pi / DIRECTIONS
    k_u, k_v = (np.outer(k, way(turn)).ravel() for way in (np.cos, np.sin))
    seen = _box(k_u, own_m) * _box(k_v, own_m)
    true = [(_box(w, size), _tilt(w, size)) for w, size in ((k_u, length_m), (k_v, width_m))]
    sums = np.zeros((4, k_u.size))
    phases = (np.arange(PHASES) + 0.5) / PHASES if interpolated else np.zeros(1)
    lags = [lag * cell_m, 2 * lag * cell_m]
    parts_u = [_model(k_u, length_m, (cell_m, own_m, phase), lags) for phase in phases]
    parts_v = [_model(k_v, width_m, (cell_m, own_m, phase), ()) for phase in phases]
    for level_u, tilt_u, _, near_u, far_u in parts_u:
        for level_v, tilt_v, one_v in parts_v:
            sums[0] += np.abs(true[0][1] * true[1][0] - seen * tilt_u * level_v) ** 2
            sums[1] += np.abs(true[0][0] * true[1][1] - seen * level_u * tilt_v) ** 2
            sums[2] += np.abs(seen * near_u * one_v) ** 2
            sums[3] += np.abs(seen * far_u * one_v) ** 2
    power = sums.reshape(4, WAVES, DIRECTIONS).mean(axis=2)
    along, across, near, far = power @ (k[:, None] ** (-2 * EXPONENTS))  # k dk = k^2 d(ln k), spectrum k^(-2 - 2 H)
    return HiddenGround(along / near, across / near, far / near, lag)


def _axis(size_m: float, cell_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places of the covered cells along one axis [m] from the middle, and the weights that give mean and slope."""
    cover, reach = axis_weights(size_m / cell_m), axis_coverage(size_m / cell_m).reach
    at = np.arange(-reach, reach + 1) * cell_m
    moment = (cover * at * at).sum()
    return at, cover / cover.sum(), cover * at / moment if moment > 0 else np.full(at.size, np.nan)


def _box(k: np.ndarray, size_m: float) -> np.ndarray:
    """Fourier transform of the mean over a length."""
    return np.sinc(k * size_m / (2 * np.pi))


def _tilt(k: np.ndarray, size_m: float) -> np.ndarray:
    """Fourier transform of the least-squares slope over a length, 12 x / size^3 (derived)."""
    half = k * size_m / 2
    small = np.abs(half) < 1e-2
    safe = np.where(small, 1.0, half)
    whole = np.where(small, half / 3 * (1 - half**2 / 10), (np.sin(safe) - safe * np.cos(safe)) / safe**2)
    return -6j / size_m * whole


def _model(k: np.ndarray, size_m: float, cells: tuple[float, float, float], lags) -> np.ndarray:
    """Fourier transforms of mean, slope, value in the middle and second differences of the model along one axis, complex
    [3 + lags, k]."""
    cell_m, own_m, phase = cells
    at, level, tilt = _axis(size_m, cell_m)
    asked = [(at, level), (at, tilt), (np.zeros(1), np.ones(1))]
    asked += [(np.array([-lag, 0.0, lag]), np.array([1.0, -2.0, 1.0])) for lag in lags]
    first, nodes = _nodes(asked, own_m, phase)
    return nodes @ np.exp(-1j * np.outer((np.arange(nodes.shape[1]) + first + phase) * own_m, k))


def _nodes(asked, own_m: float, phase: float) -> tuple[int, np.ndarray]:
    """Sums over places, as sums over the model's own cells at (j + phase) of them, between which it is interpolated linearly.

    Arguments: asked, (places [m], weights) of each sum, symmetric round 0; own_m; phase. Return: first j; weights [sums, cells].
    """
    farthest = max(float(places[-1]) for places, _ in asked) / own_m
    first = int(np.floor(-farthest - phase)) - 1
    nodes = np.zeros((len(asked), 2 * int(np.ceil(farthest)) + 6))
    for row, (places, weights) in zip(nodes, asked, strict=True):
        place = places / own_m - phase - first
        low = np.floor(place + 1e-9).astype(int)
        np.add.at(row, low, weights * (1 - (place - low)))
        np.add.at(row, low + 1, weights * (place - low))
    return first, nodes
