"""Which finished pad is staked: the screening's, one that moves the least earth, or that of a grading plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.planned_pad import PlannedPad
from tunnelsite.core.stake_sheet import StakeSheet
from tunnelsite.core.stakes import DesignPlane
from tunnelsite.core.wording import place_words
from tunnelsite.plans.candidate import Candidate
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.pad_plane import Earthwork, FinishedPad, PadCells, pad_plane

SAME_PLACE_DEG, SAME_PAD_M2 = 1e-6, 0.1
SHOWN = 5  # names of stakes in a note


@dataclass(frozen=True)
class StakedPad:
    """The finished pad: what knows its height(u_m, v_m), its plane and earthwork, and words on where it is from."""

    finish: DesignPlane | FinishedPad
    plane: DesignPlane
    earth: Earthwork
    note: str


def screened_pad(name: str | None, found: Candidate) -> StakedPad:
    """The pad as screened, or the plane that moves the least earth."""
    settings = EarthRule(max_slope=found.settings.pad_pitch, shrink=found.settings.shrink, topsoil_m=0.0)
    cells = PadCells.of(found.place, settings, found.judged)
    least = name == "least-volume"
    plane = pad_plane(found.ground, found.place, settings, cells) if least else found.screened_plane()
    own = "is the screening's" if found.rank is not None else "fits the ground best within the finished pitch"
    kind = "moves the least earth" if least else own
    note = (
        f"finished heights are those of the plane that {kind}; topsoil and base are not counted. A grading plan of this pad has other "
        "heights: give its JSON (--grading), so that stakes and plan agree"
    )
    return StakedPad(plane, plane, cells.earthwork(plane), note)


def planned_pad(planned: PlannedPad, found: Candidate) -> StakedPad:
    """The pad of a grading plan. Errors: InputRefused for the plan of another place or pad."""
    place = found.place
    # a metre of longitude or latitude is 9e-6 deg or more
    there = abs(planned.lon - found.lon_deg) < SAME_PLACE_DEG and abs(planned.lat - found.lat_deg) < SAME_PLACE_DEG
    standing = "the house" if found.rank is None else f"candidate {found.rank}"
    if not there or abs(planned.pad_m2 - place.pad.area_m2) > SAME_PAD_M2:
        raise InputRefused(
            f"{planned.name} is the plan of a pad of {planned.pad_m2:.1f} m2 at {place_words(planned.lon, planned.lat)}",
            f"one of {place.pad.area_m2:.1f} m2 at {place_words(found.lon_deg, found.lat_deg)}, where {standing} stands",
            "run `tunnelsite grading` for this place, with the same apron",
        )
    plane = DesignPlane(planned.level_m, planned.slope_along, planned.slope_across)
    earth = Earthwork(planned.pad_cut_m3, planned.pad_fill_m3, planned.max_cut_m, planned.max_fill_m)
    finish = FinishedPad(plane, place.house, planned.crown, planned.apron_fall)
    note = f"finished heights are those of the grading plan {planned.name}"
    if planned.base_m > 0:
        base = amounts.depth(planned.base_m, feet=place.house.feet)
        note += f"; cut and fill count to the finished surface: the subgrade lies {base} lower, under the base"
    return StakedPad(finish, plane, earth, note)


def ground_notes(found: Candidate, sheet: StakeSheet) -> list[str]:
    """What stakes and posts would be driven into: land of others, and services that may be buried."""
    place, limits = found.place, found.limits
    at = np.array([(point.along_m, point.across_m) for point in sheet.points]) + np.array(place.centre)
    notes = []
    if limits.parcel is not None:
        off = ~shapely.intersects_xy(limits.parcel, at[:, 0], at[:, 1])
        names = [point.label for point, beyond in zip(sheet.points, off, strict=True) if beyond]
        if names:
            more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
            notes.append(
                f"beyond the parcel's edge: {', '.join(names[:SHOWN])}{more}. Move them (--boards, --bench-mark) or ask the neighbour"
            )
    staked = shapely.convex_hull(shapely.multipoints(at))
    notes += [
        f"the staked ground lies across {name}: have it located and exposed by hand before a stake or post is driven near it"
        for name, _ in limits.services_on(staked)
    ]
    return notes
