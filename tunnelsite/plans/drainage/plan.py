"""From a grading plan to its drainage plan: water from uphill, a diverting swale, the roof's water, and the neighbours."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import INCH_M
from tunnelsite.plans.drainage.flow_paths import Flow, Inflow, ending_in, flow_over, inflows, path_up
from tunnelsite.plans.drainage.level_spreader import Spreader, SpreaderRule
from tunnelsite.plans.drainage.outlets import outlet_of
from tunnelsite.plans.drainage.runoff import roof_peak_m3_s
from tunnelsite.plans.drainage.storm import OutletFlow, Storm
from tunnelsite.plans.drainage.swale import SwaleArm, SwaleRule
from tunnelsite.plans.drainage.swale_choice import chosen_swale, left_as_it_lies
from tunnelsite.plans.drainage.warnings import drainage_warnings, on_the_way
from tunnelsite.plans.drainage.water_moved import BorderFlow, Gain, border_flow, gains
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.place import PlacedHouse
from tunnelsite.plans.site_limits import SiteLimits

DRAIN_OFFSET_M = (
    18 * INCH_M,
    24 * INCH_M,
)  # French drain off the ground posts [@drain-vermont]


@dataclass(frozen=True)
class DrainageSettings:
    """What a drainage plan is asked for. Common practice, no source, except where it says so.

    Attributes:
        swale: how the swale is built, or None for none. spreader: how level spreaders are, or None for none.
        storm: rain and cover.
        worth_m2: water from less land than this is left to soak in [m2].
        box_margin_m: the border on which water is compared lies so far outside pad and swale [m].
        tolerance_m2: gains of contributing area up to this are not listed [m2]. same_water_m: water leaving within this
            distance of where it left before is taken as the same [m].
        drain_offset_m: French drain off the posts [m], 18 to 24 in [@drain-vermont].
    """

    swale: SwaleRule | None = field(default_factory=SwaleRule)
    spreader: SpreaderRule | None = field(default_factory=SpreaderRule)
    storm: Storm = field(default_factory=Storm)
    worth_m2: float = 50.0
    box_margin_m: float = 10.0
    tolerance_m2: float = 100.0
    same_water_m: float = 5.0
    drain_offset_m: float = 21 * INCH_M

    @property
    def rule(self) -> SwaleRule:
        """How the swale is built. Errors: ValueError where no swale is asked for."""
        if self.swale is None:
            raise ValueError("no swale is asked for; expected a rule for it")
        return self.swale

    def __post_init__(self) -> None:
        if not DRAIN_OFFSET_M[0] - 1e-9 <= self.drain_offset_m <= DRAIN_OFFSET_M[1] + 1e-9:
            raise UsageError(
                f"drain {self.drain_offset_m} m off the posts", "0.457 to 0.610 m (18 to 24 in)", "correct it"
            )
        for name in ("worth_m2", "box_margin_m", "tolerance_m2", "same_water_m"):
            if not 0 <= getattr(self, name) < 1e6:
                raise UsageError(f"{name} is {getattr(self, name)}", "0 or more", "correct it")


@dataclass(frozen=True)
class DrainagePlan:
    """How water is kept off one pad and what that does to the land around. Geometry is in the grid's along and across [m].

    Attributes:
        surface: finished ground with the swale [rows, cols] [m].
        before, after: flow over the natural ground and over `surface`.
        inflows_before, inflows_after: water entering the disturbed ground, the largest first.
        paths: natural ways of the water that enters, from its divide to the pad's edge.
        arms, outlets: arms of the swale and their peak flows, in the same order; none where no swale is worth offering, which
            the warnings explain.
        spreaders: level spreaders at the outlets, in the order of the arms; none where the water does no harm as it is.
        intercepted_m2: land the swale drains.
        roof_peak_m3_s: peak off the roof (half to each side), None where no rain was given. drain: None where none is needed.
        border_before, border_after: water over the border of the box, cell by cell. box: (rows, cols) slices.
        gains: stretches of that border which get more water. warnings: in plain words.
        said: those of them about the swale and where its water goes.
    """

    surface: np.ndarray
    before: Flow
    after: Flow
    inflows_before: list[Inflow]
    inflows_after: list[Inflow]
    paths: list[shapely.LineString]
    arms: list[SwaleArm]
    outlets: list[OutletFlow]
    spreaders: list[Spreader]
    intercepted_m2: float
    roof_peak_m3_s: float | None
    drain: shapely.LineString | None
    box: tuple[slice, slice]
    border_before: BorderFlow
    border_after: BorderFlow
    gains: list[Gain]
    warnings: tuple[str, ...]
    said: tuple[str, ...] = ()

    @property
    def dug_m3(self) -> float:
        """Earth dug for arms and level spreaders [m3]."""
        return sum(arm.volume_m3 for arm in self.arms) + sum(one.volume_m3 for one in self.spreaders)

    @property
    def lines(self) -> list[shapely.LineString]:
        """All that is dug for water: arms and level spreaders."""
        return [arm.line for arm in self.arms] + [one.line for one in self.spreaders]


def drainage_plan(
    plan: GradingPlan, settings: DrainageSettings | None = None, limits: SiteLimits | None = None
) -> DrainagePlan:
    """The drainage plan of a grading plan.

    Arguments: plan; settings; limits, of the earthwork: the swale stays on the parcel and off what is barred, and sends no
    more water off the parcel (see `swale_choice`).
    Errors: InputRefused where the swale would run over ground without data; UsageError.
    Source: D8 flow of `kernels.water.flow` on filled ground, so places where water leaves are right to a cell or two at best.
    """
    settings = settings or DrainageSettings()
    place, cell = plan.place, plan.place.grid.cell_m
    before = flow_over(plan.natural, cell)
    disturbed = place.mask_of(plan.outline)
    coming = inflows(before, disturbed, cell, settings.worth_m2)
    chosen = chosen_swale(plan, before, settings, limits)
    arms, surface, after = chosen.arms, chosen.surface, chosen.after
    outlets = [outlet_of(place, arm, (after, surface), settings.rule, settings.storm) for arm in arms]
    lines = [arm.line for arm in arms] + [one.line for one in chosen.spreaders]
    reach = shapely.union_all([plan.outline, *lines]).buffer(settings.box_margin_m)
    box = place.window(reach.bounds)
    left_before, left_after = (border_flow(flow, *box) for flow in (before, after))
    roof = settings.storm.roof_mm_h
    found = DrainagePlan(
        surface,
        before,
        after,
        coming,
        inflows(after, disturbed, cell, settings.worth_m2),
        [_line(place, path_up(before, one.row, one.col)[::-1]) for one in coming],
        arms,
        outlets,
        list(chosen.spreaders),
        _intercepted(place, arms, after),
        None if roof is None else roof_peak_m3_s(place.house.length_m * place.house.width_m, roof),
        None if left_as_it_lies(plan, before) else post_drain(place, settings.drain_offset_m),
        box,
        left_before,
        left_after,
        gains(left_before, left_after, settings.tolerance_m2, round(settings.same_water_m / cell)),
        (),
    )
    said = (*chosen.said, *on_the_way(found, plan, limits or SiteLimits(), settings))
    return replace(found, warnings=(*said, *drainage_warnings(found, plan, settings)), said=said)


def post_drain(place: PlacedHouse, offset_m: float) -> shapely.LineString:
    """Centre line of a French drain round the house, a fixed distance off its posts, closed, on the grid."""
    half = place.house.length_m / 2 + offset_m, place.house.width_m / 2 + offset_m
    return place.on_grid(shapely.box(-half[0], -half[1], half[0], half[1]).exterior)


def _intercepted(place: PlacedHouse, arms: list[SwaleArm], after: Flow) -> float:
    """Land [m2] whose water reaches the swale, each cell counted once however the arms join."""
    if not arms:
        return 0.0
    along, across = (np.concatenate([getattr(arm, way) for arm in arms]) for way in ("along_m", "across_m"))
    line = np.zeros(after.direction.shape, bool)
    line[place.cell_at(along, across)] = True
    return float(np.nansum(ending_in(after, line, place.grid.cell_m).area_m2[line]))


def _line(place: PlacedHouse, cells: np.ndarray) -> shapely.Geometry:
    points = np.column_stack(place.grid.centre(*cells.T))
    return shapely.linestrings(points if len(points) > 1 else np.repeat(points, 2, axis=0))
