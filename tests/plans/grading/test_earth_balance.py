"""Cut, fill and balance of a plan against an independent integral of the same ground (scipy's bilinear interpolation)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from tests.plans.places import place, rough, tilted
from tunnelsite.core.errors import InputRefused
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.plan import GradingPlan, grading_plan
from tunnelsite.plans.grading.side_slopes import SlopeRule

SHRINK, REACH_M = 1.2, 8.0


def height_of(plan: GradingPlan):
    """Natural ground at distances from the centre, by scipy."""
    grid, where = plan.place.grid, plan.place
    ground = RegularGridInterpolator((np.arange(grid.rows), np.arange(grid.cols)), plan.natural, method="linear")
    return lambda u, v: ground((where.row - v / grid.cell_m, where.col + u / grid.cell_m))


def pad_integral(plan: GradingPlan, step: float = 0.05) -> tuple[float, float]:
    """Cut and fill of the pad by the midpoint rule on squares of 5 cm."""
    sides = (plan.place.pad.length_m, plan.place.pad.width_m)
    counts = [int(np.ceil(side / step)) for side in sides]
    u, v = np.meshgrid(*((np.arange(n) + 0.5) / n * side - side / 2 for n, side in zip(counts, sides, strict=True)))
    over = height_of(plan)(u, v) - (plan.plane.level_m + plan.plane.slope_along * u + plan.plane.slope_across * v)
    area = sides[0] * sides[1] / (counts[0] * counts[1])
    return float(over.clip(0).sum() * area), float((-over).clip(0).sum() * area)


def slope_integral(plan: GradingPlan, run: float = 3.0) -> tuple[float, float]:
    """Cut and fill of the side slopes: steps of 2 cm outwards from every 10 cm of the edge and every degree of the corners,
    each until the slope meets the ground for the first time."""
    half = np.array([plan.place.pad.length_m, plan.place.pad.width_m]) / 2
    starts, ways, widths, angles = [], [], [], []
    for k, (du, dv) in enumerate([(1, 0), (0, 1), (-1, 0), (0, -1)]):
        long = 2 * half[1 - k % 2]
        n = int(np.ceil(long / 0.1))
        at = (np.arange(n) + 0.5) / n * long - long / 2
        edge = (du * half[0] + abs(dv) * at, dv * half[1] + abs(du) * at)
        starts.append(np.column_stack(edge))
        ways.append(np.tile((du, dv), (n, 1)))
        widths.append(np.full(n, long / n))
        angles.append(np.zeros(n))
        turn = np.radians(90 * k + np.arange(90) + 0.5)
        starts.append(np.tile(half * np.sign([np.cos(turn[45]), np.sin(turn[45])]), (90, 1)))
        ways.append(np.column_stack([np.cos(turn), np.sin(turn)]))
        widths.append(np.zeros(90))
        angles.append(np.full(90, np.radians(1.0)))
    starts, ways, widths, angles = (np.concatenate(part) for part in (starts, ways, widths, angles))
    step, plane = 0.02, plan.plane
    edge = plane.level_m + starts @ np.array([plane.slope_along, plane.slope_across])
    natural = height_of(plan)
    sign = np.sign(natural(*starts.T) - edge)
    going, cut, fill = np.ones(len(starts), bool), 0.0, 0.0
    for out in np.arange(step / 2, REACH_M, step):
        left = sign * (natural(*(starts + out * ways).T) - edge) - out / run
        going &= left > 0
        part = np.where(going, left, 0.0) * (widths + angles * out) * step
        cut, fill = cut + float(part[sign > 0].sum()), fill + float(part[sign < 0].sum())
    assert not going.any()
    return cut, fill


@pytest.mark.parametrize("cell", [0.5, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_volumes_and_balance_by_another_integral(cell: float, seed: int) -> None:
    """A 30 x 96 ft house with its 4 ft apron, sides that end within cells, ground that bends: prisms of the pad are right to
    1 % on cells to 1 m, 3 % on 2 m, 5 % on 3 m; side slopes to 3 % and 0.1 m3 on all; the balance holds to half of that."""
    n = int(150 / cell) | 1
    where = place(rows=n, cols=n, cell_m=cell, length_m=29.2608, width_m=9.144, apron_m=1.2192)
    plan = grading_plan(rough(where, seed, relief_m=1.0), where, EarthRule(shrink=SHRINK))
    assert plan.pad.cut_m3 == pytest.approx(SHRINK * plan.pad.fill_m3, rel=1e-4)
    cut, fill = pad_integral(plan)
    most = {2.0: 0.03, 3.0: 0.05}.get(cell, 0.01)
    assert (plan.pad.cut_m3, plan.pad.fill_m3) == pytest.approx((cut, fill), rel=most, abs=0.05)
    assert abs(cut - SHRINK * fill) <= most / 2 * (cut + fill)
    assert (plan.slopes.cut_m3, plan.slopes.fill_m3) == pytest.approx(slope_integral(plan), rel=0.03, abs=0.1)


def test_pad_and_slopes_balance_together_by_the_other_integral() -> None:
    """Balance `whole`: all cut makes all fill, to 1 % of what is moved."""
    where = place(rows=151, cols=151, length_m=29.2608, width_m=9.144, apron_m=1.2192)
    plan = grading_plan(rough(where, 4, relief_m=1.5), where, EarthRule(shrink=SHRINK, balance="whole"))
    (pad_cut, pad_fill), (cut, fill) = pad_integral(plan), slope_integral(plan)
    moved = pad_cut + pad_fill + cut + fill
    assert abs(pad_cut + cut - SHRINK * (pad_fill + fill)) <= 0.01 * moved
    assert plan.surplus_m3 == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("bend", [0.004, -0.004])
@pytest.mark.parametrize("fall", [0.10, 0.18])
def test_daylight_on_bowls_and_domes(bend: float, fall: float) -> None:
    """Hills that steepen (dome) or flatten (bowl) downhill: the foot is where the slope's line meets s v + b v^2 (the quadratic's first root beyond the edge, derived)."""
    where = place(rows=281, cols=281, cell_m=0.5)
    _, v = where.distances(*np.mgrid[0:281, 0:281])
    ground = tilted(where, 0.0, fall) + bend * v**2
    rule = SlopeRule(reach_m=REACH_M * 4)
    plan = grading_plan(ground, where, EarthRule(rule=rule))
    half = where.pad.width_m / 2
    for side in (1, -1):
        square = plan.sides.out_v * side > 1 - 1e-9
        edge = float(plan.plane.height(0.0, side * half))
        natural = np.polynomial.Polynomial([100.0, fall * side, bend])  # of the distance from the centre, that way
        is_cut = natural(half) > edge
        slope = np.polynomial.Polynomial([edge - half * (1 if is_cut else -1) / 3, (1 if is_cut else -1) / 3])
        roots = (natural - slope).roots()
        roots = np.sort(roots[np.isreal(roots)].real)
        expected = float(roots[roots > half][0]) - half
        along = np.abs(plan.sides.edge_u_m[square]) < 10
        assert plan.sides.toe_m[square][along] == pytest.approx(expected, rel=0.02, abs=0.02)


def test_a_dome_that_falls_away_faster_than_the_side_slope_is_refused() -> None:
    """Fill at 1:3 never meets ground that falls 25 % at the middle and steepens by 0.8 % a metre: the quadratic has no root."""
    where = place(rows=281, cols=281, cell_m=0.5)
    _, v = where.distances(*np.mgrid[0:281, 0:281])
    with pytest.raises(InputRefused, match="fill slope is still going"):
        grading_plan(tilted(where, 0.0, 0.25) - 0.004 * v**2, where)
