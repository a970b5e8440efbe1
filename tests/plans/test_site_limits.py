"""What bounds earthwork: land of others, keep-outs and services, on ground where reach, area and cover follow by hand."""

from __future__ import annotations

import re

import pytest
import shapely

from tests.plans.places import place, tilted
from tunnelsite.core.units import FOOT_M
from tunnelsite.kernels.terrain.grading import FINISHED_SLOPE
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.plans.site_limits import SiteLimits

L, W, RISE = 29.0, 9.0, 0.10


@pytest.fixture(scope="module")
def where():
    return place(rows=141, cols=141, cell_m=0.5, length_m=L, width_m=W)


@pytest.fixture(scope="module")
def hill(where):
    """A plane that falls 10 % to the south: the pad's south side is a fill, its north side a cut."""
    return tilted(where, 0.0, RISE)


def warned(ground, where, limits: SiteLimits, word: str) -> list[str]:
    return [said for said in grading_plan(ground, where, None, limits).warnings if word in said]


def test_side_slopes_over_the_parcel_s_edge(hill, where) -> None:
    """The fill's foot lies d / (1/3 - s) from the pad, d = (s - 1/192) W / 2 (derived): 0.5 m of it are left on the parcel."""
    depth = (RISE - FINISHED_SLOPE) * W / 2
    toe = depth / (1 / 3 - RISE)
    land = where.on_grid(shapely.box(-35, -W / 2 - 0.5, 35, 35))
    plan = grading_plan(hill, where, None, SiteLimits(land, land))
    assert plan.sides.toe_m.max() == pytest.approx(toe, rel=0.02)
    [said] = [said for said in plan.warnings if "over the parcel's edge" in said]
    assert said == plan.warnings[0] and said.startswith("NOT BUILDABLE AS DRAWN")
    assert "neighbour's written consent" in said and "licensed practice" in said
    far, area = (float(text) for text in re.search(r"up to ([\d.]+) m .* onto ([\d.]+) m²", said).groups())
    assert far == pytest.approx(toe - 0.5, abs=0.06)
    assert area == pytest.approx(plan.outline.difference(land).area, abs=0.5)
    assert area > L * (toe - 0.5)
    inside = where.on_grid(shapely.box(-35, -W / 2 - toe - 0.1, 35, 35))
    assert not warned(hill, where, SiteLimits(inside, inside), "NOT BUILDABLE")


@pytest.mark.parametrize(("gap", "met"), [(0.2, True), (3.0, False)])
def test_earthwork_into_a_keep_out_or_a_building(hill, where, gap: float, met: bool) -> None:
    barn = where.on_grid(shapely.box(0, -W / 2 - gap - 5, 10, -W / 2 - gap))
    found = warned(hill, where, SiteLimits(barred=(("structures", barn),)), "NOT BUILDABLE")
    assert ["runs into structures" in one for one in found] == [True] * met


def test_a_shared_edge_is_no_overlap(hill, where) -> None:
    """A keep-out that ends where the earthwork ends."""
    outline = grading_plan(hill, where).outline
    beside = shapely.difference(outline.buffer(5), outline)
    assert not warned(hill, where, SiteLimits(barred=(("the keep-out wetland", beside),)), "NOT BUILDABLE")


def test_cover_lost_and_gained_over_a_buried_line(hill, where) -> None:
    """A pipe straight down the hill under the middle of the pad: cut and fill are deepest at the pad's edges, (s - 1/192) W / 2."""
    pipe = where.on_grid(shapely.LineString([(0, -30), (0, 30)]))
    aside = where.on_grid(shapely.LineString([(25, -30), (25, 30)]))
    limits = SiteLimits(services=(("the service water", pipe), ("the service power", aside)))
    [said] = warned(hill, where, limits, "lies across")
    assert "the service water" in said and "exposed by hand" in said
    deep = 100 * (RISE - FINISHED_SLOPE) * W / 2
    cut, fill = (float(text) for text in re.search(r"cut up to ([\d.]+) cm .* filled up to ([\d.]+) cm", said).groups())
    assert (cut, fill) == pytest.approx((deep, deep), abs=1.0)


def test_in_feet_where_the_user_works_in_feet(hill) -> None:
    where = place(rows=141, cols=141, cell_m=0.5, length_m=96 * FOOT_M, width_m=30 * FOOT_M, feet=True)
    land = where.on_grid(shapely.box(-35, -30 * FOOT_M / 2 - 0.5, 35, 35))
    said = grading_plan(hill, where, None, SiteLimits(land, land)).warnings[0]
    assert re.search(r"reaches up to [\d ]+ ft[\d /in]* \([\d.]+ m\)", said)
    assert re.search(r"onto [\d,]+ sq ft \([\d,]+ m²\)", said)


def test_a_container_pad_without_base_says_that_it_lies_low() -> None:
    """Topsoil off and nothing laid on: the finished pad is lower than balanced ground by the topsoil."""
    from tunnelsite.plans.grading.earth_rule import EarthRule

    yard = place(kind="container")
    ground = tilted(yard, 0.003, 0.0)
    low = grading_plan(ground, yard, EarthRule(topsoil_m=0.15))
    assert low.plane.level_m == pytest.approx(100 - 0.15, abs=1e-3)
    assert any("15 cm (6 in) lower" in said for said in low.warnings)
    laid = grading_plan(ground, yard, EarthRule(topsoil_m=0.15, base_m=0.15))
    assert laid.plane.level_m == pytest.approx(100, abs=1e-3)
    assert not any("lower than the ground" in said for said in laid.warnings)


@pytest.mark.parametrize("client", [False, True])
def test_what_lies_in_the_way_stands_on_every_page(hill, where, client: bool) -> None:
    """A client's page leaves advice out, but not that the plan cannot be built as drawn."""
    from xml.etree.ElementTree import tostring

    from tunnelsite.core.elevation_error import ErrorModel
    from tunnelsite.plans.grading.error import earthwork_error
    from tunnelsite.plans.grading.grade import Graded
    from tunnelsite.plans.grading.settings import GradingSettings
    from tunnelsite.report.candidate_study import Study
    from tunnelsite.report.card_plans import earthwork_part

    land = where.on_grid(shapely.box(-35, -W / 2 - 0.5, 35, 35))
    plan = grading_plan(hill, where, None, SiteLimits(land, land))
    assert len(plan.conflicts) == 1 and plan.conflicts[0] == plan.warnings[0] and not plan.buildable
    error = ErrorModel(0.03, 4.0)
    graded = Graded(None, GradingSettings(), plan, earthwork_error(plan, error, draws=3), None, None, error, ())
    assert graded.earth_numbers["conflicts"] == list(plan.conflicts)
    page = tostring(earthwork_part(Study(1, {}, "t", graded), False, client), encoding="unicode")
    assert "NOT BUILDABLE AS DRAWN" in page
    assert ("confirm them with a level" in page) != client
