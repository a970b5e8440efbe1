"""The layers of a block of houses: footprints with what a candidate says, gaps, trenches and their cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.reproject import from_grid
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.plans.layout.service_trenches import ServiceTrench
from tunnelsite.plans.layout.trench import way_words
from tunnelsite.screening import tables
from tunnelsite.screening.result import Result

TRENCH_COLUMNS = {
    "rank": Heading(INTEGER, "house of the layout"),
    "service": Heading(TEXT, "service"),
    "joins": Heading(INTEGER, "house whose trench it joins; none = it goes to the service itself"),
    "length_m": Heading(REAL, "length of the way drawn", "m"),
    "at_least_m": Heading(REAL, "no way can be shorter", "m"),
    "straight_m": Heading(REAL, "straight distance to what it joins", "m"),
    "outside_m": Heading(REAL, "part of it on land outside every parcel, which needs an easement", "m"),
    "bends": Heading(INTEGER, "changes of direction"),
    "cost": Heading(REAL, "length times the price given"),
    "note": Heading(TEXT, "what to know"),
}


@dataclass(frozen=True)
class PlacedBlock:
    """A block on the ground: houses, footprints in along and across [m]; ways, trenches of each house; cell_m, of their search."""

    houses: Sequence[shapely.Polygon]
    ways: Sequence[Sequence[ServiceTrench]]
    cell_m: float

    def totals(self) -> dict[str, dict[str, float]]:
        """Length [m] and cost of all trenches, by service; a house without a way is left out."""
        found: dict[str, dict[str, float]] = {}
        for one in (one for ways in self.ways for one in ways if one.line is not None):
            total = found.setdefault(one.trench.service, {"length_m": 0.0, "cost": 0.0})
            total["length_m"] += one.trench.length_m
            total["cost"] += one.trench.cost or 0.0
        return found


def layout_table(
    chosen: Result,
    houses: Sequence[shapely.Polygon],
    found: Sequence[Sequence[ServiceTrench]],
    prices: Mapping[str, float],
) -> Table:
    """Footprints of the block, ranked by score, with trench lengths and costs.

    Arguments: chosen, a result whose choices are the block; houses, footprints in along and across [m]; found, trenches
    of each house; prices of a metre, by service.
    """
    base = tables.candidates_table(chosen)
    columns, rows = base.headings, [dict(row) for row in base.rows]
    flags = columns.pop("flags")
    columns["gap_m"] = Heading(REAL, "distance to the nearest other house of the layout", "m")
    for name in dict.fromkeys(one.trench.service for ways in found for one in ways):
        columns[f"trench_{name}_m"] = Heading(
            REAL, f"{way_words(name)}, or to that of the house it joins, round keep-outs and structures", "m"
        )
        if name in prices:
            columns[f"cost_{name}"] = Heading(REAL, f"{way_words(name)} at {prices[name]:g} a metre")
    columns["flags"] = flags
    for k, (row, ways) in enumerate(zip(rows, found, strict=True)):
        others = [shapely.distance(houses[k], other) for j, other in enumerate(houses) if j != k]
        row["gap_m"] = float(min(others)) if others else None
        for one in ways:
            row[f"trench_{one.trench.service}_m"] = one.trench.length_m
            row[f"cost_{one.trench.service}"] = one.trench.cost
    return table_of("layout", "Footprints of the best block of houses", columns, rows, base.places)


def trenches_table(chosen: Result, found: Sequence[Sequence[ServiceTrench]]) -> Table:
    """The ways of all trenches; a service that cannot be reached has no line."""
    rows: list[dict[str, Any]] = []
    lines: list[shapely.Geometry | None] = []
    for rank, ways in enumerate(found, 1):
        for one in ways:
            way = one.trench
            rows.append(
                {
                    "rank": rank,
                    "service": way.service,
                    "joins": None if one.joins is None else one.joins + 1,
                    "length_m": way.length_m,
                    "at_least_m": way.shortest_m,
                }
                | {
                    "straight_m": one.straight_m,
                    "outside_m": one.outside_m,
                    "bends": way.bends,
                    "cost": way.cost,
                    "note": way.note or None,
                }
            )
            lines.append(one.line)
    grid = chosen.scans[chosen.choices[0].scan].frame.grid if chosen.choices else chosen.frame.grid
    shapes = np.array([None] * len(lines), object)
    there = np.array([line is not None for line in lines], bool)
    if there.any():
        shapes[there] = from_grid(np.array([line for line in lines if line is not None], object), grid, chosen.crs)
    return table_of(
        "trenches", "Trenches to the services", TRENCH_COLUMNS, rows, Places(shapes, "LineString", chosen.crs)
    )
