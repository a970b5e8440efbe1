"""Where the water of a swale's arm goes: the cell at which it carries most, its peak flow, and where that leaves the parcel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.plans.drainage.flow_paths import Flow, path_down, path_length_m, path_up, receivers
from tunnelsite.plans.drainage.storm import OutletFlow, Storm, outlet_flow
from tunnelsite.plans.drainage.swale import SwaleArm, SwaleRule
from tunnelsite.plans.place import PlacedHouse


@dataclass(frozen=True)
class Parcel:
    """The owner's land: outline on the grid, its cells, and reach [cells] and tolerance [m2] for what counts as more water."""

    outline: shapely.Geometry
    cells: np.ndarray
    reach: int
    tolerance_m2: float

    def exit_of(self, way: np.ndarray) -> tuple[int, int] | None:
        """Cell (row, col) at which a way down, cells [n, 2], leaves the parcel; None where it does not, as it runs off the data."""
        outside = np.flatnonzero(~self.cells[tuple(way.T)])
        if outside.size == 0:
            return None
        row, col = way[max(int(outside[0]) - 1, 0)]
        return int(row), int(col)

    def near(self, cell: tuple[int, int]) -> tuple[slice, slice]:
        """Cells within reach of one."""
        row, col = cell
        return np.s_[max(row - self.reach, 0) : row + self.reach + 1, max(col - self.reach, 0) : col + self.reach + 1]

    def more(self, old_m2: float, new_m2: float) -> bool:
        """Whether that is notably more water."""
        return new_m2 - old_m2 > self.tolerance_m2


def outlet_cell(place: PlacedHouse, arm: SwaleArm, after: Flow) -> tuple[int, int]:
    """The cell (row, col) of an arm's line that carries most. Arguments: place; arm; after, flow with the swale dug."""
    rows, cols = place.cell_at(arm.along_m, arm.across_m)
    most = int(np.nanargmax(after.area_m2[rows, cols]))
    return int(rows[most]), int(cols[most])


def outlet_of(
    place: PlacedHouse, arm: SwaleArm, dug: tuple[Flow, np.ndarray], rule: SwaleRule, storm: Storm
) -> OutletFlow:
    """Area and peak flow at an arm's outlet. Arguments: place; arm; dug, (flow, ground [m]) with the swale; rule; storm."""
    after, surface = dug
    r, c = outlet_cell(place, arm, after)
    line = np.zeros(surface.shape, bool)
    line[place.cell_at(arm.along_m, arm.across_m)] = True
    stem = path_up(after, r, c)
    over_land = stem[~line[tuple(stem.T)]]
    drop = float(surface[tuple(over_land[-1])] - surface[tuple(over_land[0])]) if len(over_land) > 1 else 0.0
    way = (path_length_m(over_land, place.grid.cell_m), max(drop, 0.0))
    drained = (float(after.area_m2[r, c]), bool(after.open_edge[r, c]))
    return outlet_flow(arm, rule, storm, drained, way)


def more_below(
    place: PlacedHouse, arms: list[SwaleArm], before: Flow, after: Flow, own: Parcel
) -> tuple[str | None, list[SwaleArm]]:
    """(why a layout would harm the land below, in plain words, None if it is not known to; the arms of which nothing is known).

    Water is followed from each outlet to the cell where it leaves the parcel; what leaves within reach of that cell is
    compared with what left there before. Where it runs off the data inside the parcel, nothing is known of the land below.
    """
    was, now = (leaving(flow, own.cells) for flow in (before, after))
    unknown = []
    for arm in arms:
        cell = own.exit_of(path_down(after.direction, *place.cell_at(arm.along_m[-1], arm.across_m[-1])))
        if cell is None:
            unknown.append(arm)
            continue
        old, new = (float(part[own.near(cell)].sum()) for part in (was, now))
        if own.more(old, new):
            spot = place.spot_words(*place.grid.centre(*cell))
            grown = amounts.more_land(new, old, feet=place.house.feet)
            return f"the land below the parcel's edge {spot} would get more water than now, of {grown}", unknown
    return None, unknown


def beyond_the_data(place: PlacedHouse, arm: SwaleArm) -> str:
    """That nothing is known of the land below an outlet."""
    return (
        f"The water of the swale ending {end_words(place, arm)} runs off the elevation data before it leaves the parcel: what it does "
        "to the land below was not checked. Read more land (--halo), or look at the way down."
    )


def end_words(place: PlacedHouse, arm: SwaleArm) -> str:
    """Where an arm ends."""
    return place.spot_words(float(arm.along_m[-1]), float(arm.across_m[-1]))


def leaving(flow: Flow, inside: np.ndarray) -> np.ndarray:
    """Contributing area [m2] of cells inside an area whose water leaves it, 0 elsewhere."""
    rows, cols = np.nonzero(inside)
    to_row, to_col = receivers(flow.direction, rows, cols)
    on = (to_row >= 0) & (to_row < inside.shape[0]) & (to_col >= 0) & (to_col < inside.shape[1])
    out = on & ~inside[np.where(on, to_row, 0), np.where(on, to_col, 0)]
    found = np.zeros(inside.shape)
    found[rows[out], cols[out]] = np.nan_to_num(flow.area_m2[rows[out], cols[out]])
    return found
