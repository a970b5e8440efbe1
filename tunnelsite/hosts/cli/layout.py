"""`layout`: the best block of several houses on the open ground of a screening, with trenches to the services."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from tunnelsite.core import amounts
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.layout_asked import LayoutAsked, gap_m, layout_asked
from tunnelsite.hosts.cli.layout_words import layout_words
from tunnelsite.hosts.cli.options import project_values
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.stakeout import OWN_OUTPUTS
from tunnelsite.hosts.cli.streams import answer

OUTSIDE_M = 1.0  # less is the width of a cell at the parcel's edge
CAUTIONS = (
    "Each house was scored as if it stood alone: what one house's pad, roof and swale do to the next one's water is not in the "
    "scores. Plan the drainage of the block as a whole.",
    "Trench lengths are of the shortest way round keep-outs and structures on the map, not a design: depth, frost, clearances "
    "between lines and crossings are for the utility, local codes and licensed practice. Have buried lines marked first.",
)


def layout(given: argparse.Namespace) -> int:
    """Screen, choose the best block of houses and write it."""
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.settings.model import settings_from

    values = {name: value for name, value in project_values(given).items() if name not in OWN_OUTPUTS}
    settings = settings_from(values)
    asked = layout_asked(given, settings)
    out = Path(given.out)
    check_ending("--out", out, ".gpkg")
    outputs = {"--out": out, "picture": out.with_suffix(".svg")}
    progress = Progress(quiet=given.quiet)
    with reserved_outputs(outputs, inputs_named(given, values), overwrite=bool(given.overwrite)):
        from tunnelsite.io.read.site import inputs_unchanged, site_from
        from tunnelsite.io.write.staging import write_whole
        from tunnelsite.plans.layout.layers import Placed
        from tunnelsite.plans.layout.picture import layout_picture
        from tunnelsite.plans.layout.scattered import footprints
        from tunnelsite.plans.layout.service_trenches import service_trenches
        from tunnelsite.screening.run import screen

        progress("reading", 0.0)
        site = site_from(settings)
        result = screen(site, settings=settings, progress=progress)
        progress("block of houses", 0.0)
        block = asked.block(result, given.parcel or ())
        chosen = replace(result, choices=block.choices)
        houses = footprints(chosen, block.choices)
        progress("trenches", 0.0)
        frame = chosen.scans[block.choices[0].scan].frame if block.choices else chosen.frame
        ways, cell = service_trenches(frame, houses, asked.prices, shared=not asked.scattered)
        inputs_unchanged(site)
        placed = Placed(houses, ways, cell)
        summary = _summary(given, (chosen, block), placed, asked, out)
        _write(given, chosen, placed, asked.prices, summary, out)
        write_whole(outputs["picture"], layout_picture(chosen, placed), overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    answer(summary, lambda told: layout_words(told, feet=_in_feet(chosen)), as_json=given.json)
    return 0


def _summary(given, found, placed, asked: LayoutAsked, out: Path) -> dict[str, Any]:
    import shapely

    chosen, block = found
    layout, houses = block.found.layout, placed.houses
    rows = []
    for k, (row, house, trenches) in enumerate(zip(chosen.rows, houses, placed.ways, strict=True)):
        others = [float(shapely.distance(house, other)) for j, other in enumerate(houses) if j != k]
        keys = ("rank", "score", "parcel", "house", "lon", "lat", "bearing_deg", "cut_m3", "fill_m3", "flags")
        rows.append({name: row[name] for name in keys} | {"gap_m": min(others, default=None)})
        rows[-1]["trenches"] = {
            one.trench.service: {
                "length_m": one.trench.length_m if one.line is not None else None,
                "joins": None if one.joins is None else one.joins + 1,
                "straight_m": one.straight_m,
                "outside_m": one.outside_m,
                "cost": one.trench.cost,
                "note": one.trench.note,
            }
            for one in trenches
        }
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
        "scattered": asked.scattered,
        "trench_cell_m": placed.cell_m,
        "trench_totals": placed.totals(),
        "prices": asked.prices,
        "notes": [*_notes(given, chosen, block), *_over_other_land(rows, feet=_in_feet(chosen))],
        "cautions": list(CAUTIONS),
        "output": str(out),
        "picture": str(out.with_suffix(".svg")),
    }


def _in_feet(chosen) -> bool:
    return any(house.feet for house in chosen.settings.houses)


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
    return [f"trenches over land outside every parcel need an easement of whoever owns it: {', '.join(found)}"]


def _notes(given, chosen, block) -> list[str]:
    notes = [f"{row['name']}: {row['value']}" for row in chosen.tables["run"].rows if row["kind"] == "note"]
    if len(block.choices) < given.houses:
        notes.append(f"room for {len(block.choices)} of {given.houses} houses only, with these gaps and limits")
    if block.found.boxes > 1:
        notes.append(
            f"of {block.found.given} placements only the best one of each {block.found.boxes} x {block.found.boxes} cells was "
            "tried; the bound holds for all of them"
        )
    if given.shade_from is not None:
        notes.append(
            f"shade: on level ground, solar time {given.shade_from} until as long after noon"
            f"{', midwinter' if given.shade_day is None else f', {given.shade_day}'}; ground that falls away from the sun "
            "lengthens shadows"
        )
    if block.unproven_bearings:
        notes.append(f"a better block may lie at bearing {', '.join(f'{b:g}' for b in block.unproven_bearings)}")
    pad = 2 * chosen.settings.apron_m
    gap = gap_m(given)
    if gap < pad - 1e-9:
        apart, apron = (amounts.size(side, feet=_in_feet(chosen)) for side in (gap, pad / 2))
        notes.append(f"houses {apart} apart have aprons of {apron} that overlap: grade them as one pad")
    return notes


def _write(given, chosen, placed, prices: dict[str, float], summary: dict[str, Any], out: Path) -> None:
    from tunnelsite.io.formats.plan_styles import layout_styles
    from tunnelsite.io.write.plan_files import write_plan
    from tunnelsite.plans.layout.layers import layout_table, trenches_table
    from tunnelsite.screening import tables
    from tunnelsite.screening.run_table import run_table

    houses, ways = placed.houses, placed.ways
    run = run_table(chosen)
    asked = (
        "houses",
        "scattered",
        "mix",
        "parcel",
        "first",
        "gap",
        "end_gap",
        "aisle",
        "give",
        "shade_from",
        "shade_day",
        "roof",
        "eave",
        "price",
    )
    rows = [
        {"kind": "setting", "name": f"layout {name}", "value": str(getattr(given, name))}
        for name in asked
        if getattr(given, name) not in (None, False)
    ]
    rows.append({"kind": "note", "name": "layout", "value": summary["verdict"]})
    rows += [{"kind": "note", "name": "layout", "value": text} for text in summary["notes"]]
    rows += [{"kind": "caution", "name": f"layout {k}", "value": text} for k, text in enumerate(CAUTIONS, 1)]
    layers = [layout_table(chosen, houses, ways, prices), tables.pads_table(chosen)]
    if any(ways):
        layers.append(trenches_table(chosen, ways))
    looks = layout_styles([choice.score for choice in chosen.choices])
    write_plan(
        out,
        [*layers, replace(run, rows=[*run.rows, *rows])],
        crs=chosen.crs,
        statement="Best block of houses among all placements of a screening by tunnelsite.",
        sources={item.name: item.sha256 for item in chosen.site.inputs},
        overwrite=bool(given.overwrite),
        styles={layer.name: looks[layer.name] for layer in layers},
    )
