"""How sure volumes and depths of a grading plan are, given the errors of the elevation model."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.siteplan.grading_plan import GradingPlan
from tunnelsite.siteplan.side_slopes import slope_volumes, traced

QUANTILES = (0.05, 0.95)


@dataclass(frozen=True)
class Spread:
    """Uncertainty of one amount: standard deviation, an interval that holds 90 % of the draws, and the mean of all draws
    less the planned amount (error of this size adds roughness, hence volume; the plan already holds one helping of it)."""

    planned: float
    sd: float
    low: float
    high: float
    inflation: float


@dataclass(frozen=True)
class EarthworkError:
    """Spread of pad and side slopes together: cut_m3, fill_m3, net_m3 (cut - fill), and of max_cut_m, max_fill_m (pad).

    no_daylight: share of draws in which a side slope did not come to daylight. draws: how many.
    """

    cut_m3: Spread
    fill_m3: Spread
    net_m3: Spread
    max_cut_m: Spread
    max_fill_m: Spread
    no_daylight: float
    draws: int


def earthwork_error(
    plan: GradingPlan,
    sigma_m: float,
    correlation_m: float,
    draws: int = 200,
    seed: int = 0,
    *,
    site_benchmark: bool = True,
) -> EarthworkError:
    """Spread of the volumes and depths under draws of elevation error, the finished heights staying as planned.

    Arguments: plan; sigma_m, standard deviation of the elevation error (RMSEz) [m]; correlation_m, distance at which its
    correlation falls to 1/e [m], 0 for independent cells; draws; seed; site_benchmark, whether finished heights are set
    from levels taken on the pad, so that the mean error over the pad drops out, or from the model's own datum.
    Errors: UsageError for amounts out of range.
    Source: Monte Carlo with Gaussian random fields of correlation exp(-(d / correlation_m)^2). Low and high are the draws'
    5 and 95 % points less `inflation`, none below 0 but the net volume: the elevation model already holds one error, and
    drawing a second one on top moves the middle, which is shown but not added.
    """
    if not (0 <= sigma_m < 10 and 0 <= correlation_m < 10_000 and 2 <= draws <= 100_000):
        raise UsageError(
            f"error of {sigma_m} m, correlation length {correlation_m} m, {draws} draws",
            "0 up to 10 m, 0 up to 10 km, at least 2 draws",
            "correct them",
        )
    cropped = _cropped(plan)
    ground, numbers = cropped.natural, np.random.default_rng(seed)
    length = correlation_m / plan.place.grid.cell_m
    rows, cols, weights = cropped.place.pad_cells()
    found = []
    for _ in range(draws):
        error = sigma_m * error_field(numbers, ground.shape, length)
        if site_benchmark:
            error -= np.average(error[rows, cols], weights=weights)
        found.append(_amounts(cropped, ground + error))
    found = np.array(found)
    planned = _amounts(cropped, cropped.natural)
    spreads = [_spread(planned[k], found[:, k], may_be_negative=k == 2) for k in range(5)]
    return EarthworkError(*spreads, no_daylight=float(found[:, 5].mean()), draws=draws)


def error_field(numbers: np.random.Generator, shape: tuple[int, int], correlation_cells: float) -> np.ndarray:
    """Gaussian random field [rows, cols] of variance 1 with correlation exp(-(d / correlation_cells)^2).

    The correlation is a product of one along the rows and one along the columns, so the square roots of two small
    matrices turn white noise into such a field exactly, at any length. 0 gives independent cells.
    """
    down, right = (_root(size, correlation_cells) for size in shape)
    return down @ numbers.standard_normal(shape) @ right


@lru_cache(maxsize=8)  # hundreds of draws of one shape: the decomposition costs more than all of them
def _root(size: int, correlation_cells: float) -> np.ndarray:
    """Symmetric square root of the correlation matrix of `size` cells in a row."""
    if correlation_cells <= 0:
        return np.identity(size)
    values, vectors = np.linalg.eigh(_correlation(size, correlation_cells))
    root = vectors * np.sqrt(np.maximum(values, 0.0)) @ vectors.T  # rounding leaves eigenvalues of -1e-16
    root.flags.writeable = False
    return root


def _correlation(size: int, correlation_cells: float) -> np.ndarray:
    at = np.arange(size) / correlation_cells
    return np.exp(-((at[:, None] - at) ** 2))


def net_volume_sd(weights, cell_m: float, sigma_m: float, correlation_m: float) -> float:
    """Standard deviation [m3] of cut - fill of a pad under a fixed plane, in closed form.

    Arguments: weights [rows, cols], share of each cell in the pad; cell_m [m]; sigma_m [m]; correlation_m [m].
    Source: propagation of variance, sigma^2 cell^4 sum_ij w_i w_j rho(d_ij), rho = exp(-(d / correlation_m)^2); separable
    where the weights are. With independent cells it is sigma cell^2 sqrt(sum w^2), far too hopeful for real models.
    """
    weights = np.asarray(weights, float)
    if correlation_m <= 0:
        return float(sigma_m * cell_m**2 * np.sqrt((weights**2).sum()))
    across, along = (_correlation(size, correlation_m / cell_m) for size in weights.shape)
    return float(sigma_m * cell_m**2 * np.sqrt((weights * (across @ weights @ along)).sum()))


def _cropped(plan: GradingPlan) -> GradingPlan:
    """The plan on a window with room for side slopes, so that draws need not cover the farm."""
    grid, reach = plan.place.grid, plan.settings.rule.reach_m
    room = [
        int(np.ceil((size / 2 + reach) / grid.cell_m)) + 2 for size in (plan.place.pad.width_m, plan.place.pad.length_m)
    ]
    rows = slice(max(plan.place.row - room[0], 0), min(plan.place.row + room[0] + 1, grid.rows))
    cols = slice(max(plan.place.col - room[1], 0), min(plan.place.col + room[1] + 1, grid.cols))
    window = grid.window(rows.start, cols.start, rows.stop - rows.start, cols.stop - cols.start)
    place = replace(plan.place, grid=window, row=plan.place.row - rows.start, col=plan.place.col - cols.start)
    return replace(plan, place=place, natural=plan.natural[rows, cols], finished=plan.finished[rows, cols])


def _amounts(plan: GradingPlan, ground: np.ndarray) -> np.ndarray:
    """Cut, fill, net [m3], deepest cut and fill [m] and whether a slope stays without daylight, on other ground."""
    pad = plan.earthwork_on(ground)
    sides = traced(plan.place, ground, plan.finished_height, plan.settings.rule)
    cut, fill, *_ = slope_volumes(sides, plan.place, plan.finished_height, ground)
    cut, fill = cut + pad.cut_m3, fill + pad.fill_m3
    return np.array([cut, fill, cut - fill, pad.max_cut_m, pad.max_fill_m, not np.isfinite(sides.toe_m).all()])


def _spread(planned: float, draws: np.ndarray, *, may_be_negative: bool) -> Spread:
    inflation = float(draws.mean() - planned)
    low, high = (float(k) for k in np.quantile(draws, QUANTILES) - inflation)
    return Spread(float(planned), float(draws.std(ddof=1)), low if may_be_negative else max(low, 0.0), high, inflation)
