"""Whether a diverting swale is worth offering, and down which side: known to do no harm first, then least digging."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.kernels.water.fill import filled
from tunnelsite.plans.drainage.flow_paths import Flow, flow_over, inflows, path_down
from tunnelsite.plans.drainage.level_spreader import Build, Spreader, SpreaderLand, spread_out
from tunnelsite.plans.drainage.outlets import Parcel, beyond_the_data, end_words, more_below, outlet_cell, outlet_of
from tunnelsite.plans.drainage.swale import SwaleArm, SwaleRule, ring, swale_layouts, with_swale
from tunnelsite.plans.drainage.swale_words import (
    NO_PARCEL,
    PROVISIONAL,
    SPREADER_CARE,
    layout_words,
    refusal,
    spread_words,
)
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.place import PlacedHouse
from tunnelsite.plans.site_limits import SiteLimits

if TYPE_CHECKING:
    from tunnelsite.plans.drainage.plan import DrainageSettings


QUIET_M2 = (
    500.0  # water of less land earns full marks of the criterion `drainage`, so a smoothed pad is left as it lies
)
QUIET_POND_M = 0.10  # a hollow no deeper earns full marks of the criterion `ponding`


@dataclass(frozen=True)
class SwaleChoice:
    """The swale offered, if any. Attributes: arms; surface, finished ground with it [rows, cols] [m]; after, flow over that;
    said, why there is none or what was left open, in plain words; spreaders, at the arms' outlets, none where their water
    harms no one as it is."""

    arms: list[SwaleArm]
    surface: np.ndarray
    after: Flow
    said: tuple[str, ...]
    spreaders: tuple[Spreader, ...] = ()


@dataclass(frozen=True)
class _Dug:
    """A layout that keeps water off the pad: its arms, ground with it, flow over that."""

    arms: list[SwaleArm]
    surface: np.ndarray
    after: Flow


@dataclass(frozen=True)
class _Tried:
    """What was tried. Attributes: before, flow over the natural ground; layouts, dug, that do harm or whose harm is not known;
    refused, why others are not offered, in plain words."""

    before: Flow
    layouts: list[_Dug] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _HarmlessLayout:
    """A layout that does no known harm: what it would be; unknown_m2, land whose water runs off the data before it leaves the
    parcel, so that whom it reaches is unknown; dug_m3, with its level spreaders."""

    choice: SwaleChoice
    unknown_m2: float

    @property
    def dug_m3(self) -> float:
        return sum(arm.volume_m3 for arm in self.choice.arms) + sum(one.volume_m3 for one in self.choice.spreaders)


def left_as_it_lies(plan: GradingPlan, before: Flow) -> bool:
    """Whether a pad asks for no water works: its ground is only smoothed, little land sheds water to any one spot of it, and no water can
    stand on it.

    Arguments: plan; before, flow over the natural ground.
    """
    if plan.tier != "smooth":
        return False
    inside = plan.place.mask_of(plan.outline)
    if inflows(before, inside, plan.place.grid.cell_m, QUIET_M2):
        return False
    rows, cols, _ = plan.place.pad_cells()
    return float(np.max((filled(plan.natural) - plan.natural)[rows, cols])) <= QUIET_POND_M


def chosen_swale(
    plan: GradingPlan, before: Flow, settings: DrainageSettings, limits: SiteLimits | None = None
) -> SwaleChoice:
    """The swale that digs least among those that come to daylight, stay on the parcel and off what is barred, let less water onto
    the pad than no swale would, and send no neighbour more; else one whose water is spread out (`level_spreader`). A swale
    whose water cannot be followed off the parcel comes after both, however little it digs.

    Arguments: plan; before, flow over the natural ground; settings; limits, of the earthwork (parcel None = not known).
    Errors: InputRefused where a swale would run over ground without data.
    Source: a diversion is for places where a suitable outlet is available or can be provided [@diversion-362]: an
    outlet that was not looked at is not one. Order else common practice, no source; water as in `kernels.water.flow`,
    right to a cell or two at best.
    """
    place, cell = plan.place, plan.place.grid.cell_m
    limits = limits or SiteLimits()
    graded = flow_over(plan.finished, cell)
    none = SwaleChoice([], plan.finished, graded, ())
    if settings.swale is None:
        return none
    if left_as_it_lies(plan, before):
        quiet = amounts.land(QUIET_M2, feet=place.house.feet)
        why = (
            f"No swale or drain is planned: the pad is smoothed in place, less than {quiet} drains to any one spot of it and no hollow "
            "lies under it."
        )
        return replace(none, said=(why,))
    layouts = _layouts(plan, before, graded, settings)
    if not layouts:
        least = amounts.land(settings.worth_m2, feet=place.house.feet)
        why = f"No swale is planned: less than {least} of land sheds water to any one spot of the pad from uphill."
        return replace(none, said=(why,))
    layouts.sort(key=lambda arms: sum(arm.volume_m3 for arm in arms))
    tried = _Tried(before)
    own = None
    if limits.parcel is not None:
        cells = place.mask_of(limits.parcel)
        own = Parcel(limits.parcel, cells, round(settings.same_water_m / cell), settings.tolerance_m2)
    offers: list[_HarmlessLayout] = []
    for arms in layouts:
        dug = _not_buildable(place, arms, limits, settings.rule) or _dug(plan, arms, graded, settings)
        if isinstance(dug, str):
            tried.refused.append(f"{layout_words(arms, place)}: {dug}")
            continue
        if own is None:
            return SwaleChoice(arms, dug.surface, dug.after, (NO_PARCEL,))
        harm, unknown = more_below(place, arms, before, dug.after, own)
        if harm is None:
            offers.append(_streaming(place, dug, unknown))
            if offers[-1].unknown_m2 <= own.tolerance_m2:
                break  # of those known to do no harm the first digs least
        else:
            tried.refused.append(f"{layout_words(arms, place)}: {harm}")
        tried.layouts.append(dug)
    else:
        offers += [] if own is None else _spread(plan, tried, settings, own, limits)
    if not offers:
        return replace(none, said=(refusal(tried.refused),))
    return _best(place, offers, settings.tolerance_m2)


def _best(place: PlacedHouse, offers: list[_HarmlessLayout], tolerance_m2: float) -> SwaleChoice:
    """Of layouts that do no known harm: those whose water can be followed before others, those that send least off the data
    before others, a stream before a spreader (it digs less and asks for no upkeep of a lip), then the least digging."""
    step = max(tolerance_m2, 1.0)

    def rank(one: _HarmlessLayout) -> tuple[bool, int, bool, float]:
        open_ended = one.unknown_m2 > tolerance_m2
        return open_ended, int(one.unknown_m2 // step) * open_ended, bool(one.choice.spreaders), one.dug_m3

    best = min(offers, key=rank)
    said = list(best.choice.said)
    if best.unknown_m2 > tolerance_m2:
        said.append(PROVISIONAL)
    cheaper = [one for one in offers if one.unknown_m2 > tolerance_m2 and one.dug_m3 < best.dug_m3]
    if cheaper and best.unknown_m2 <= tolerance_m2:
        less = best.dug_m3 - min(one.dug_m3 for one in cheaper)
        said.append(
            f"Another swale would dig {amounts.volume(less, feet=place.house.feet)} less, but its water runs off the elevation data "
            "before it leaves the parcel: it is not offered as long as one is known whose water harms no one. To have it judged, "
            "read more land (--halo)."
        )
    return replace(best.choice, said=tuple(said))


def _streaming(place: PlacedHouse, found: _Dug, unknown: list[SwaleArm]) -> _HarmlessLayout:
    """A layout whose water is let go as it comes."""
    cells = {outlet_cell(place, arm, found.after) for arm in unknown}
    lost = sum(float(found.after.area_m2[cell]) for cell in cells)
    said = tuple(beyond_the_data(place, arm) for arm in unknown)
    return _HarmlessLayout(SwaleChoice(found.arms, found.surface, found.after, said), lost)


def _dug(plan: GradingPlan, arms: list[SwaleArm], graded: Flow, settings: DrainageSettings) -> _Dug | str:
    """A layout dug, or why it is of no use."""
    disturbed = plan.place.mask_of(plan.outline)
    entering, surface = (
        _entering(plan, graded, disturbed),
        with_swale(plan.finished, plan.place, arms, settings.rule.section),
    )
    after = flow_over(surface, plan.place.grid.cell_m)
    still = _entering(plan, after, disturbed)
    if still >= entering:
        now, then = (amounts.land(area, feet=plan.place.house.feet) for area in (still, entering))
        return f"water from {now} would still enter the pad, against {then} without it"
    return _Dug(arms, surface, after)


def _entering(plan: GradingPlan, flow: Flow, disturbed: np.ndarray) -> float:
    return sum(one.area_m2 for one in inflows(flow, disturbed, plan.place.grid.cell_m))


def _spread(
    plan: GradingPlan, tried: _Tried, settings: DrainageSettings, own: Parcel, limits: SiteLimits
) -> list[_HarmlessLayout]:
    """Layouts whose water can be let go as sheet flow; why there is none is added to `tried.refused`."""
    if settings.spreader is None:
        return []
    place, rule = plan.place, settings.rule
    offers: list[_HarmlessLayout] = []
    reasons: list[str] = []
    for found in tried.layouts:
        dug = (found.after, found.surface)
        outlets = [
            (outlet_cell(place, arm, found.after), outlet_of(place, arm, dug, rule, settings.storm).peak_m3_s or np.nan)
            for arm in found.arms
        ]
        ends = [shapely.points(arm.along_m[-1], arm.across_m[-1]).buffer(2 * place.grid.cell_m) for arm in found.arms]
        lines = [shapely.difference(arm.line, end) for arm, end in zip(found.arms, ends, strict=True)]
        barred = [geometry for _, geometry in limits.barred]
        taken = shapely.union_all([plan.outline.buffer(rule.clearance_m), *lines, *barred])
        land = SpreaderLand(place, found.surface, place.mask_of(plan.outline), taken, own)
        spread = spread_out(
            land, found.arms, outlets, (tried.before, found.after), Build(settings.spreader, rule.section)
        )
        if isinstance(spread, str):
            reasons += [spread] if spread not in reasons else []
            continue
        said = [spread_words(place, one) for one in spread[0]]
        said += [
            beyond_the_data(place, arm) for arm, one in zip(found.arms, spread[0], strict=True) if one.beyond_m2 > 0
        ]
        choice = SwaleChoice(found.arms, found.surface, spread[1], (*said, SPREADER_CARE), tuple(spread[0]))
        offers.append(_HarmlessLayout(choice, sum(one.beyond_m2 for one in spread[0])))
    if reasons:
        tried.refused.append("nor can its water be let go as sheet flow over a level spreader: " + "; ".join(reasons))
    return offers


def _layouts(plan: GradingPlan, before: Flow, graded: Flow, settings: DrainageSettings) -> list[list[SwaleArm]]:
    """Layouts of the swale; where arms leave the ring, their water stays off the disturbed ground."""
    place, rule = plan.place, settings.rule
    around = ring(plan.outline, rule)
    inside, disturbed = place.mask_of(around), place.mask_of(plan.outline)
    coming = inflows(before, inside, place.grid.cell_m, settings.worth_m2)

    def tail(along_m: float, across_m: float) -> np.ndarray | None:
        cells = path_down(graded.direction, *place.cell_at(along_m, across_m))
        if disturbed[tuple(cells.T)].any() or inside[tuple(cells[2:].T)].any():
            return None
        return np.column_stack(place.grid.centre(*cells.T))

    spots = [place.grid.centre(one.row, one.col) for one in coming]
    return swale_layouts(place, plan.natural, around, rule, spots, tail)


def _not_buildable(place: PlacedHouse, arms: list[SwaleArm], limits: SiteLimits, rule: SwaleRule) -> str | None:
    """Why a layout cannot be built where it lies, None if it can."""
    for arm in arms:
        taken, name = arm.footprint(rule.section), f"the arm ending {end_words(place, arm)}"
        if limits.parcel is not None and not shapely.covers(limits.parcel, taken):
            return f"{name} would leave the parcel, which needs the neighbour's consent"
        barred = limits.barred_by(taken)
        if barred:
            return f"{name} would run through {' and '.join(barred)}"
        if not arm.daylight:
            left = amounts.size(float(arm.ground_m[-1] - arm.bottom_m[-1]), feet=place.house.feet)
            return f"{name} does not come to daylight, it is still {left} below the ground there"
    return None
