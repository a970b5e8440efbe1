"""The measures of a house anywhere: by the engine, the rules and the scores of the screening, on a piece of its frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tunnelsite.core.house import House, Pad
from tunnelsite.core.placement import Placement
from tunnelsite.decisions.explain import PreparedGround, explain_at
from tunnelsite.decisions.explanation import Explanation
from tunnelsite.desk.spot import Spots
from tunnelsite.scan.engine import Scan, scanned
from tunnelsite.scan.free_ground import FREE_M
from tunnelsite.scan.judge import ScoresHere
from tunnelsite.scan.open_ground import OpenGround, bars, open_ground
from tunnelsite.scan.ranking import RankedPlacement
from tunnelsite.scan.steady import steady_scores
from tunnelsite.screening.candidate_rows import measured_rows
from tunnelsite.screening.result import Result
from tunnelsite.screening.surroundings import surroundings

SPARE_M = 26.0  # ground beyond the pad that errors of the pitch and the edges of the pad look at


@dataclass(frozen=True)
class MeasuredHouse:
    """A house anywhere.

    Attributes: scan, the placements tried round it, its own among them at `item`; row, its columns as those of a candidate but for
    its surroundings and the room to shift, which these few do not show, None where heights are missing; explained, every rule; steady,
    its steady score, None where a rule rejects it.
    """

    scan: Scan
    item: int | None
    row: dict[str, Any] | None
    explained: Explanation
    steady: float | None

    @property
    def centre_m(self) -> tuple[float, float]:
        """Along and across [m] of the house's centre on the scan's grid."""
        grid = self.scan.frame.grid
        along, across = grid.centre(grid.rows // 2, grid.cols // 2)
        return float(along), float(across)


def measured(result: Result, spots: Spots, place: tuple[float, float, float], house: House) -> MeasuredHouse:
    """Measure a house where it is held.

    Arguments: result and the pieces of its frame; place, longitude, latitude, ridge bearing [deg]; house.
    Errors: UsageError for a place off the data.
    """
    pad = Pad.around(house, result.settings.apron_m)
    reach = np.hypot(pad.length_m, pad.width_m) / 2 + result.settings.shift_m + SPARE_M
    frame, settings = spots.piece(*place, reach), result.settings
    ground = open_ground(frame, pad, settings.setback_m, bars(frame, settings.clearance_m))
    grid = frame.grid
    centre = grid.rows // 2 * grid.cols + grid.cols // 2
    owner = np.full(grid.shape, -1, ground.owner.dtype)
    down, right = np.ogrid[: grid.rows, : grid.cols]
    close = np.hypot(down - grid.rows // 2, right - grid.cols // 2) * grid.cell_m <= settings.shift_m + grid.cell_m
    owner[close] = ground.owner[close]
    owner.flat[centre] = max(0, int(owner.flat[centre]))
    free = [replace(judge, rubric=replace(judge.rubric, limit=None)) for judge in result.judges]
    scan = scanned(frame, (house, pad), replace(ground, owner=owner), free, settings.pad_pitch)
    mini = replace(result, scans=[scan], scored=[np.empty(0)], here=[], choices=[])
    there = np.flatnonzero(scan.index == centre)
    if not len(there):
        empty = scan.only(np.zeros(len(scan.index), bool))
        explained = _explained(replace(mini, scans=[empty]), place, house)
        return MeasuredHouse(scan, None, None, explained, None)
    steady, passing = _steady(result, scan, replace(ground), centre)
    shown, item = (
        (passing, int(np.searchsorted(passing.index, centre))) if steady is not None else (scan, int(there[0]))
    )
    here = ScoresHere(shown, result.judges, settings.combine)
    whole = replace(mini, scans=[shown], here=[here], scored=[steady_scores(shown, here, settings.shift_m)])
    score = float(whole.scored[0][item])
    row = measured_rows(replace(whole, choices=[RankedPlacement(0, item, score)]))[0] | {"room_m": None}
    rejected = replace(mini, scans=[scan.only(np.zeros(len(scan.index), bool))])
    explained = _explained(rejected if steady is None else whole, place, house)
    return MeasuredHouse(shown, item, row, explained, steady)


def with_surroundings(result: Result, spots: Spots, found: MeasuredHouse) -> dict[str, Any]:
    """The columns of a house with its surroundings: water, the way in, free ground. They are looked at on a wider piece, too wide for
    every step of a drag. Empty where heights are missing."""
    row, scan = found.row, found.scan
    if row is None or found.item is None:
        return {}
    reach = np.hypot(scan.pad.length_m, scan.pad.width_m) + FREE_M
    wide = spots.piece(row["lon"], row["lat"], scan.frame.grid.bearing_deg, reach, only=("standing_m",))
    grid = wide.grid
    mine = scan.frame.parcels[scan.owner[found.item]]
    home = next(k for k, parcel in enumerate(wide.parcels) if parcel is mine)
    middle = np.array([grid.rows // 2 * grid.cols + grid.cols // 2])
    there = replace(
        scan.only(np.arange(len(scan.index)) == found.item), frame=wide, index=middle, owner=np.array([home])
    )
    [around] = surroundings(result, there, np.array([0]), np.array([row["ground_m"]]))
    return row | around


def _explained(result: Result, place: tuple[float, float, float], house: House) -> Explanation:
    return explain_at(PreparedGround.of(result), Placement(*place, house))


def _steady(result: Result, scan: Scan, ground: OpenGround, centre: int) -> tuple[float | None, Scan]:
    """The steady score at the centre, None where a rule rejects it, and the placements round it that pass."""
    keep = ground.owner.flat[scan.index] >= 0
    for judge in result.judges:
        if judge.rubric.limit is not None:
            keep &= ~judge.rubric.beyond(scan.measures[judge.id])
    passing = replace(scan.only(keep), ground=ground)
    at = np.flatnonzero(passing.index == centre)
    if not len(at):
        return None, passing
    here = ScoresHere(passing, result.judges, result.settings.combine)
    value = float(steady_scores(passing, here, result.settings.shift_m)[at[0]])
    return (value if np.isfinite(value) else None), passing
