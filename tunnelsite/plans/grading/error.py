"""How sure volumes and depths of a grading plan are, given the errors of the elevation model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.core.elevation_error import ErrorModel, drawn_waves, field_on
from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import Grid
from tunnelsite.plans.grading.judged_ground import Shown, less_error, pad_ripple, standing_alone
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.grading.side_slopes import slope_volumes, traced

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
    error: ErrorModel,
    draws: int = 200,
    seed: int = 0,
    *,
    site_benchmark: bool = True,
) -> EarthworkError:
    """Spread of the volumes and depths under draws of elevation error, the finished heights staying as planned.

    Arguments: plan; error of the elevations; draws; seed; site_benchmark, whether finished heights are set from levels taken on
    the pad, so that the mean error over the pad drops out, or from the model's own datum.
    Errors: UsageError for amounts out of range.
    Source: Monte Carlo of the true ground given the model's, with the random fields of `core.elevation_error`: the plane of the pad
    less that of a drawn error, and of what lies off it the share k = 1 - N2 / theta with sqrt(k) of the drawn error's own, N2 the
    mean square that errors alone show and theta = v m2 / chi2(v) at least N2 (conjugate normal model: Box & Tiao 1973; ground and
    errors of the same correlation length: assumed). Lone things are taken
    as they are. Low and high are the draws' 5 and 95 % points, widened where
    the middle of the draws is off the planned amount; none below 0 but the net volume.
    """
    if not (0 <= error.sd_m < 10 and 0 <= error.range_m < 10_000 and 2 <= draws <= 100_000):
        raise UsageError(
            f"error of {error.sd_m} m, correlation length {error.range_m} m, {draws} draws",
            "0 up to 10 m, 0 up to 10 km, at least 2 draws",
            "correct them",
        )
    cropped = _cropped(plan)
    lone = standing_alone(cropped.measured, cropped.place, error)
    ground, numbers = cropped.measured - lone, np.random.default_rng(seed)
    rows, cols, weights = cropped.place.pad_cells()
    ripple = pad_ripple(cropped.place, ground)
    shown = Shown.under(cropped.place, error)
    found = []
    for _ in range(draws):
        drawn = error.seen[0] * _field(numbers, cropped.place.grid, (rows, cols), error.seen[1]).ravel()
        if site_benchmark:
            drawn -= np.average(drawn, weights=weights.ravel())
        level, along, across = ripple.plane_of(drawn)
        tilt = level + along * ripple.u + across * ripple.v
        total = max(shown.freedom * ripple.square / numbers.chisquare(shown.freedom), shown.square)
        real = 1.0 - shown.square / total if total > 0 else 1.0
        off = tilt + (1.0 - real) * ripple.q - np.sqrt(real) * (drawn - tilt)
        true = less_error(ground, cropped.place, off.reshape(weights.shape), (rows, cols), error) + lone
        found.append(_amounts(cropped, true))
    table = np.array(found)  # [draws, amounts]
    planned = _amounts(cropped, cropped.natural)
    cut, fill, net, max_cut, max_fill = (_spread(planned[k], table[:, k], may_be_negative=k == 2) for k in range(5))
    return EarthworkError(cut, fill, net, max_cut, max_fill, float(table[:, 5].mean()), draws)


def _field(numbers: np.random.Generator, grid: Grid, pad: tuple[slice, slice], range_m: float) -> np.ndarray:
    """One field of variance 1 over the cells of a pad, rows and columns of a grid."""
    if range_m <= 0:
        return numbers.standard_normal(grid.shape)[pad]
    rows, cols = pad
    shape = rows.stop - rows.start, cols.stop - cols.start
    field: np.ndarray = field_on(
        drawn_waves(numbers, range_m), grid, np.array([rows.start]), np.array([cols.start]), shape
    )[0]
    return field


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
    return replace(
        plan,
        place=place,
        natural=plan.natural[rows, cols],
        measured=plan.measured[rows, cols],
        finished=plan.finished[rows, cols],
    )


def _amounts(plan: GradingPlan, ground: np.ndarray) -> np.ndarray:
    """Cut, fill, net [m3], deepest cut and fill [m] and whether a slope stays without daylight, on other ground."""
    pad = plan.earthwork_on(ground)
    sides = traced(plan.place, ground, plan.finished_height, plan.settings.rule)
    cut, fill, *_ = slope_volumes(sides, plan.place, plan.finished_height, ground)
    cut, fill = cut + pad.cut_m3, fill + pad.fill_m3
    return np.array([cut, fill, cut - fill, pad.max_cut_m, pad.max_fill_m, not np.isfinite(sides.toe_m).all()])


def _spread(planned: float, draws: np.ndarray, *, may_be_negative: bool) -> Spread:
    inflation = float(draws.mean() - planned)
    low, high = (float(k) for k in np.quantile(draws, QUANTILES))
    low, high = min(low, low - inflation), max(high, high - inflation)
    return Spread(float(planned), float(draws.std(ddof=1)), low if may_be_negative else max(low, 0.0), high, inflation)
