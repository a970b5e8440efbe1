"""How much work a placement asks for, each amount with its interval where one is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from tunnelsite.core.elevation_error import ErrorModel
from tunnelsite.core.site import Frame
from tunnelsite.core.wording import capital
from tunnelsite.plans.candidate import Candidate
from tunnelsite.plans.cost.settings import CostSettings
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.error import earthwork_error
from tunnelsite.plans.grading.plan import GradingPlan, grading_plan
from tunnelsite.plans.layout.service_trenches import ServiceTrench, service_trenches
from tunnelsite.plans.layout.trench import way_words
from tunnelsite.scan.data_checks import unseen_ground
from tunnelsite.scan.pitch_error import counted_error, stated_error
from tunnelsite.scan.surface import add_surface

STANDS_M = (
    0.5  # what a surface model shows above this is more than grass or noise; see the source of the criterion `standing`
)


@dataclass(frozen=True)
class Quantity:
    """An amount of one kind of work.

    Attributes:
        name: of its price (`earthwork`, `water` ...). title: in words. unit: `m`, `m2` or `m3`.
        amount: None = not known. low, high: the interval, None = none is known. note: what it counts, or why it is not known.
    """

    name: str
    title: str
    unit: str
    amount: float | None
    low: float | None = None
    high: float | None = None
    note: str = ""


def quantities(found: Candidate, settings: CostSettings) -> list[Quantity]:
    """Every amount of work at a placement.

    Arguments: found, the placement on its frame; settings.
    Errors: as `grading_plan`: InputRefused where the ground is not known or side slopes never meet it.
    """
    error = counted_error(
        found.frame, (found.place.row, found.place.col), stated_error(found.frame, *found.settings.error)
    )
    container = found.place.house.kind == "container"
    rule = EarthRule(
        max_slope=found.settings.pad_pitch,
        shrink=found.settings.shrink,
        topsoil_m=settings.topsoil_m,
        base_m=settings.base_m if container else 0.0,
        base_loose=settings.base_loose,
    )
    plan = grading_plan(found.ground, found.place, rule, found.limits, error)
    base = "pad of a container house" if container else "an in-ground house has none"
    return [
        *_earth(found, plan, error, settings.draws),
        Quantity("base", "Base to order", "m3", plan.materials.base_order_m3, note=base),
        _clearing(found, plan),
        *_ways(found),
    ]  # fmt: skip


def _earth(found: Candidate, plan: GradingPlan, error: ErrorModel, draws: int) -> list[Quantity]:
    """Earth to move and topsoil to strip; not known where the model's cells are too wide, as in the screening."""
    house = found.place.house
    earthwork = Quantity("earthwork", "Earth to move", "m3", None)
    topsoil = Quantity(
        "topsoil", "Topsoil to strip", "m3", plan.materials.topsoil_stripped_m3, note=_topsoil_words(plan)
    )
    unseen = unseen_ground(found.frame, found.site.dem.name, [house])
    if unseen:
        # how deep an in-ground pad is dug says whether its topsoil is stripped; a container house's always is
        stripped = topsoil if house.kind == "container" else replace(topsoil, amount=None, note=unseen)
        return [replace(earthwork, note=unseen), stripped]
    spread = earthwork_error(plan, error, draws)
    moved, over = spread.cut_m3 if plan.cut_m3 >= plan.fill_m3 else spread.fill_m3, plan.surplus_m3
    carried = (
        f"; {abs(over):.1f} m3 {'to carry off' if over > 0 else 'to bring in'} not counted" if abs(over) >= 0.05 else ""
    )
    counted = f"the larger of cut ({plan.cut_m3:.1f} m3) and fill ({plan.fill_m3:.1f} m3); 90 % interval by the elevation error{carried}"
    amount = max(plan.cut_m3, plan.fill_m3)
    return [replace(earthwork, amount=amount, low=moved.low, high=moved.high, note=counted), topsoil]


def _topsoil_words(plan: GradingPlan) -> str:
    return (
        f"{plan.settings.topsoil_m:g} m of all graded ground"
        if plan.tier == "strip"
        else "nothing is stripped: the pad is worked in place"
    )


def _clearing(found: Candidate, plan: GradingPlan) -> Quantity:
    """Disturbed ground on which something stands: outlines drawn, and what a surface model shows."""
    title, site = "Ground to clear", found.site
    if site.surface is None and site.obstacles is None:
        return Quantity("clearing", title, "m2", None, note="neither a surface model nor obstacles were given")
    frame = found.frame
    add_surface(frame, found.settings.bare_transmission)
    drawn = shapely.intersection(shapely.union_all(np.asarray(frame.outlines, object)), plan.outline)
    area = max(float(shapely.area(drawn)), _standing_m2(frame, plan))
    note = f"graded ground on which something stands {STANDS_M:g} m or more; sod and roots are not in it"
    return Quantity("clearing", title, "m2", area, note=note)


def _standing_m2(frame: Frame, plan: GradingPlan) -> float:
    """Graded ground [m2] in cells on which something stands."""
    rows, cols = plan.place.window(plan.outline.bounds)
    along, across = frame.grid.centre(*np.mgrid[rows, cols])
    inside = shapely.contains_xy(plan.outline, along, across)
    return float((inside & (frame.layers["standing_m"][rows, cols] >= STANDS_M)).sum() * frame.grid.cell_m**2)


def _ways(found: Candidate) -> list[Quantity]:
    """A way to each service: a trench, or the way in."""
    along, across = found.place.centre
    u, v = found.place.house.length_m / 2, found.place.house.width_m / 2
    house = shapely.box(along - u, across - v, along + u, across + v)
    ways, _ = service_trenches(found.frame, [house])
    return [_way(one) for one in ways[0]] + _empty(found.site.services, ways[0])


def _way(one: ServiceTrench) -> Quantity:
    name = one.trench.service
    title = _title(name)
    if one.line is None:
        return Quantity(name, title, "m", None, note=one.trench.note or "no way leads there")
    note = "shortest way round keep-outs and structures; not a design"
    if one.outside_m > 1.0:
        note += f"; {one.outside_m:.0f} m on land outside every parcel"
    return Quantity(name, title, "m", one.trench.length_m, one.trench.shortest_m, None, note)


def _title(service: str) -> str:
    return capital(way_words(service))


def _empty(services: Mapping[str, object], known: Sequence[ServiceTrench]) -> list[Quantity]:
    there = {one.trench.service for one in known}
    return [
        Quantity(name, _title(name), "m", None, note="the file holds no feature")
        for name in services
        if name not in there
    ]
