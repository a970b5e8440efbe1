"""Side slopes against closed forms: wedges along the sides, quarter cones at the corners."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.plans.places import distances, place, tilted
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.plans.grading.side_slopes import SlopeRule, side_slopes, slope_volumes, traced

L, W = 29.0, 9.0


def level(height: float):
    return lambda u, v: np.full(np.shape(u), height)


@pytest.mark.parametrize("raised", [1.0, -1.0])
@pytest.mark.parametrize("run", [2.0, 3.0])
def test_wedges_and_corner_cones_on_level_ground(raised: float, run: float) -> None:
    where = place()
    ground = np.zeros(where.grid.shape)
    sides = side_slopes(where, ground, level(raised), SlopeRule(cut=run, fill=run))
    assert sides.toe_m == pytest.approx(run * abs(raised), abs=1e-9)
    assert (sides.is_cut == (raised < 0)).all()
    cut, fill, deepest_cut, deepest_fill = slope_volumes(sides, where, level(raised), ground)
    h = abs(raised)
    exact = 2 * (L + W) * run * h**2 / 2 + math.pi * run**2 * h**3 / 3
    assert (fill if raised > 0 else cut) == pytest.approx(exact, rel=1e-6)
    assert (cut if raised > 0 else fill) == 0.0
    assert max(deepest_cut, deepest_fill) == pytest.approx(h, abs=1e-9)  # at the pad's edge
    area = L * W + 2 * (L + W) * run * h + math.pi * (run * h) ** 2
    assert sides.outline.area == pytest.approx(area, rel=0.002)


def test_daylight_on_a_tilted_plane() -> None:
    """Up the slope a cut of gradient 1/m gains 1/m - g on the ground: it comes out h / (1/m - g) from the edge."""
    where, g = place(), 0.08
    sides = side_slopes(where, tilted(where, g, 0.0, 0.0), level(0.0), SlopeRule(cut=3, fill=3))
    far, near = sides.out_u > 1 - 1e-12, sides.out_u < -1 + 1e-12
    expected = (L / 2 * g) / (1 / 3 - g)
    assert sides.toe_m[far] == pytest.approx(expected, abs=1e-6)
    assert sides.toe_m[near] == pytest.approx(expected, abs=1e-6)
    assert sides.is_cut[far].all()
    assert not sides.is_cut[near].any()


def test_ends_at_the_first_daylight() -> None:
    """A gully beyond the foot of the fill is not filled."""
    where = place()
    u, _ = distances(where)
    ground = np.where(abs(u) > 22, -5.0, 0.0)
    sides = side_slopes(where, ground, level(0.5), SlopeRule())
    assert sides.toe_m.max() == pytest.approx(1.5)


def test_refuses_ground_too_steep_to_daylight() -> None:
    where = place()
    with pytest.raises(InputRefused, match="still going after 30 m"):
        side_slopes(where, tilted(where, 0.0, 0.4), level(100.0), SlopeRule())


def test_refuses_slopes_that_leave_the_data() -> None:
    where = place()
    ground = np.zeros(where.grid.shape)
    ground[:, where.col + 16 :] = np.nan
    with pytest.raises(InputRefused, match="leaves the elevation data"):
        side_slopes(where, ground, level(1.0), SlopeRule())
    assert np.isnan(traced(where, ground, level(1.0), SlopeRule()).toe_m).any()


def test_slopes_in_other_units_of_length_scale() -> None:
    """The same shape at twice the size: eight times the volume."""
    small, large = place(), place(length_m=58.0, width_m=18.0, cell_m=2.0)
    found = []
    for where, h in ((small, 0.7), (large, 1.4)):
        ground = tilted(where, 0.03, -0.05, 0.0)
        rule = SlopeRule(reach_m=30 * where.grid.cell_m)
        found.append(slope_volumes(side_slopes(where, ground, level(h), rule), where, level(h), ground)[:2])
    assert np.array(found[1]) == pytest.approx(8 * np.array(found[0]), rel=1e-9)


def test_mirrored_ground_gives_mirrored_slopes() -> None:
    where = place()
    u, v = distances(where)
    ground = 0.02 * u + 0.03 * v + 0.2 * np.sin(u / 9 + v / 7)
    volumes = []
    for shown in (ground, ground[:, ::-1], ground[::-1], ground[::-1, ::-1]):
        sides = side_slopes(where, np.ascontiguousarray(shown), level(0.1), SlopeRule())
        volumes.append(slope_volumes(sides, where, level(0.1), np.ascontiguousarray(shown)))
    for other in volumes[1:]:
        assert other == pytest.approx(volumes[0], rel=1e-9)


def test_gradients_that_cannot_be_meant() -> None:
    for bad in ({"cut": 0.0}, {"fill": -3.0}, {"reach_m": math.inf}, {"cut": math.nan}):
        with pytest.raises(UsageError):
            SlopeRule(**bad)
