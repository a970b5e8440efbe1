"""What a block of houses comes to: a row per house, totals, and what to know."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import shapely

from tunnelsite.core import amounts
from tunnelsite.plans.layout.layers import PlacedBlock
from tunnelsite.plans.layout.scattered import Block
from tunnelsite.plans.layout.service_trenches import ServiceTrench
from tunnelsite.plans.layout.settings import LayoutSettings
from tunnelsite.screening.result import Result
from tunnelsite.screening.run_table import VERDICT, notes_once

OUTSIDE_M = 1.0  # less is the width of a cell at the parcel's edge
ROW = ("rank", "score", "parcel", "house", "lon", "lat", "bearing_deg", "cut_m3", "fill_m3", "flags")
CAUTIONS = (
    "Each house was scored as if it stood alone: what one house's pad, roof and swale do to the next one's water is not in the "
    "scores. Plan the drainage of the block as a whole.",
    "Trench lengths are of the shortest way round keep-outs and structures on the map, not a design: depth, frost, clearances "
    "between lines and crossings are for the utility, local codes and licensed practice. Have buried lines marked first.",
)


@dataclass(frozen=True)
class LaidBlock:
    """A block on the ground.

    Attributes: settings; result, a screening whose choices are the block; block, with its bounds; placed, footprints and trenches.
    """

    settings: LayoutSettings
    result: Result
    block: Block
    placed: PlacedBlock

    @property
    def feet(self) -> bool:
        """Whether the user works in feet."""
        return any(house.feet for house in self.result.settings.houses)


def summary_of(chosen: LaidBlock) -> dict[str, Any]:
    """Numbers of the block, ready for JSON."""
    block, placed = chosen.block, chosen.placed
    layout = block.found.layout
    rows = _rows(chosen)
    return {
        "verdict": layout.verdict,
        "houses": rows,
        "total_score": layout.score,
        "score_bound": layout.score_bound,
        "houses_bound": layout.houses_bound,
        "proven": layout.proven and not block.unproven_bearings,
        "placements": {"passed": block.found.given, "tried": block.found.tried, "box_cells": block.found.boxes},
        "bearing_deg": block.bearing_deg,
        "shade_gap_m": {name: {"left": gap[0], "right": gap[1]} for name, gap in block.gaps_m.items()},
        "scattered": chosen.settings.scattered,
        "trench_cell_m": placed.cell_m,
        "trench_totals": placed.totals(),
        "prices": chosen.settings.prices.ways(),
        "notes": [*_notes(chosen), *_over_other_land(rows, feet=chosen.feet)],
        "cautions": list(CAUTIONS),
    }


def _rows(chosen: LaidBlock) -> list[dict[str, Any]]:
    houses, rows = chosen.placed.houses, []
    for k, (row, house, trenches) in enumerate(zip(chosen.result.rows, houses, chosen.placed.ways, strict=True)):
        others = [float(shapely.distance(house, other)) for j, other in enumerate(houses) if j != k]
        told = {name: row[name] for name in ROW} | {"gap_m": min(others, default=None)}
        rows.append(told | {"trenches": _trenches(trenches)})
    return rows


def _trenches(found: Sequence[ServiceTrench]) -> dict[str, dict[str, Any]]:
    return {
        one.trench.service: {
            "length_m": one.trench.length_m if one.line is not None else None,
            "joins": None if one.joins is None else one.joins + 1,
            "straight_m": one.straight_m,
            "outside_m": one.outside_m,
            "cost": one.trench.cost,
            "note": one.trench.note,
        }
        for one in found
    }


def _over_other_land(rows: list[dict[str, Any]], *, feet: bool) -> list[str]:
    """Trenches over land that is in no parcel."""
    found = [
        f"house {row['rank']} {name} {amounts.away(way['outside_m'], feet=feet)}"
        for row in rows
        for name, way in row["trenches"].items()
        if way["outside_m"] > OUTSIDE_M
    ]
    if not found:
        return []
    return [f"trenches over land outside every parcel need an easement from its owner: {', '.join(found)}"]


def _notes(chosen: LaidBlock) -> list[str]:
    asked, block, result = chosen.settings, chosen.block, chosen.result
    notes = notes_once([row for row in result.tables["run"].rows if row["kind"] == "note" and row["name"] != VERDICT])
    if len(block.choices) < asked.houses:
        notes.append(f"room for {len(block.choices)} of {asked.houses} houses only, with these gaps and limits")
    if block.found.boxes > 1:
        notes.append(
            f"of {block.found.given} placements only the best one of each {block.found.boxes} x {block.found.boxes} cells was "
            "tried; the bound holds for all of them"
        )
    if asked.shade_from is not None:
        notes.append(
            f"shade: on level ground, solar time {asked.shade_from} until as long after noon"
            f"{', midwinter' if asked.shade_day is None else f', {asked.shade_day}'}; ground that falls away from the sun "
            "lengthens shadows"
        )
    if block.unproven_bearings:
        notes.append(f"a better block may lie at bearing {', '.join(f'{b:g}' for b in block.unproven_bearings)}")
    pad = 2 * result.settings.apron_m
    if asked.gap_m < pad - 1e-9:
        apart, apron = (amounts.size(side, feet=chosen.feet) for side in (asked.gap_m, pad / 2))
        notes.append(f"houses {apart} apart have aprons of {apron} that overlap: grade them as one pad")
    return notes
