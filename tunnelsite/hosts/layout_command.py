"""`layout`: the best block of several houses on the open ground of a screening, with trenches to the services."""

from __future__ import annotations

import argparse
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from tunnelsite.core import amounts
from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import FOOT_M, length_m, month_day, number, whole_number
from tunnelsite.hosts.arguments import check_ending
from tunnelsite.hosts.inputs_named import inputs_named
from tunnelsite.hosts.options import project_values
from tunnelsite.hosts.progress import Progress
from tunnelsite.hosts.stakeout_command import OWN_OUTPUTS
from tunnelsite.hosts.streams import answer

OUTSIDE_M = 1.0  # less is the width of a cell at the parcel's edge
CAUTIONS = (
    "Each house was scored as if it stood alone: what one house's pad, roof and swale do to the next one's water is not in the "
    "scores. Plan the drainage of the block as a whole.",
    "Trench lengths are of the shortest way round keep-outs and structures on the map, not a design: depth, frost, clearances "
    "between lines and crossings are for the utility, local codes and licensed practice. Have buried lines marked first.",
)


def layout(given: argparse.Namespace) -> int:
    """Screen, choose the best block of houses and write it."""
    from tunnelsite.io.outputs import reserved_outputs
    from tunnelsite.settings import settings_from

    values = {name: value for name, value in project_values(given).items() if name not in OWN_OUTPUTS}
    settings = settings_from(values)
    rules, shade, prices = _rules(given, settings), _shade(given), _prices(given, settings)
    out = Path(given.out)
    check_ending("--out", out, ".gpkg")
    progress = Progress(quiet=given.quiet)
    with reserved_outputs({"--out": out}, inputs_named(given, values), overwrite=bool(given.overwrite)):
        from tunnelsite.house_block import best_block, footprints
        from tunnelsite.io.site_reader import inputs_unchanged, site_from
        from tunnelsite.screening import screen
        from tunnelsite.siteplan.service_trenches import service_trenches

        progress("reading", 0.0)
        site = site_from(settings)
        result = screen(site, settings=settings, progress=progress)
        progress("block of houses", 0.0)
        block = best_block(result, rules, shade, given.parcel or ())
        chosen = replace(result, choices=block.choices)
        houses = footprints(chosen, block.choices)
        progress("trenches", 0.0)
        frame = chosen.scans[block.choices[0].scan].frame if block.choices else chosen.frame
        ways, cell = service_trenches(frame, houses, prices)
        inputs_unchanged(site)
        summary = _summary(given, chosen, block, (houses, ways, cell), prices, out)
        _write(given, chosen, (houses, ways), prices, summary, out)
        progress("writing", 1.0)
    answer(summary, lambda told: _words(told, feet=_in_feet(chosen)), as_json=given.json)
    return 0


def _rules(given: argparse.Namespace, settings):
    from tunnelsite.siteplan.layout import SIDE_GAP_M, LayoutRules

    if given.houses is None:
        raise UsageError("--houses is missing", "how many houses at most", "say --houses 4")
    if not 1 <= given.houses <= 1000:
        raise UsageError(f"--houses is {given.houses}", "1 to 1000", "correct it")
    names = [house.name for house in settings.houses]
    if len(set(names)) < len(names):
        raise UsageError(f"the house sizes are {', '.join(names)}", "each size once", "leave the double one out")
    counts = dict.fromkeys(names, given.houses)
    for text in given.mix or []:
        name, equals, count = text.partition("=")
        if not equals or name not in counts:
            raise UsageError(
                f"--mix is {text!r}", f"SIZE=NUMBER with a size of --house: {', '.join(names)}", "correct it"
            )
        counts[name] = whole_number(count, f"--mix {name}", 0, 1000)
    gap = SIDE_GAP_M if given.gap is None else length_m(given.gap, "--gap", most_m=900.0)
    end_gap = gap if given.end_gap is None else length_m(given.end_gap, "--end-gap", most_m=900.0)
    limit = 60.0 if given.time_limit is None else number(given.time_limit, "--time-limit")
    of_size = tuple(counts.values()) if given.mix else ()
    return LayoutRules(given.houses, of_size, gap, end_gap, given.first, limit)


def _shade(given: argparse.Namespace):
    from tunnelsite.house_block import ShadeRule

    eave = 0.0 if given.eave is None else length_m(given.eave, "--eave", most_m=30.0)
    if given.shade_from is None:
        if given.shade_day is not None:
            raise UsageError("--shade-day without --shade-from", "both together", "say from which hour, as 10:00")
        return None
    found = re.fullmatch(r"(\d|0\d|1[01]):([0-5]\d)", given.shade_from, re.ASCII)
    if not found:
        raise UsageError(
            f"--shade-from is {given.shade_from!r}", "a solar time before noon as HH:MM, such as 10:00", "correct it"
        )
    declination = None if given.shade_day is None else _declination_deg(given.shade_day)
    return ShadeRule(12.0 - int(found[1]) - int(found[2]) / 60, declination, given.roof, eave)


def _declination_deg(text: str) -> float:
    from datetime import UTC, datetime

    from tunnelsite.light.sun import declination_deg

    month, day = month_day(text, "--shade-day")
    noon = datetime(2027, month, day, 12, tzinfo=UTC)  # the year matters by 0.2 deg at most
    return float(declination_deg([noon.timestamp()])[0])


def _prices(given: argparse.Namespace, settings) -> dict[str, float]:
    """The user's price of a metre of trench, by service. Errors: UsageError."""
    found = {}
    for text in given.price or []:
        name, equals, amount = text.partition("=")
        price, slash, unit = amount.rpartition("/")
        if not equals or not slash or unit not in ("m", "ft"):
            raise UsageError(f"--price is {text!r}", "SERVICE=AMOUNT/m, such as water=12/m or water=4/ft", "correct it")
        if name not in settings.service:
            known = ", ".join(settings.service) or "none"
            raise UsageError(f"--price is for {name!r}", f"a service of the run ({known})", "name it with --service")
        found[name] = number(price, "--price") / (FOOT_M if unit == "ft" else 1.0)
        if not found[name] > 0:
            raise UsageError(f"--price is {text!r}", "a price above 0", "correct it")
    return found


def _summary(given, chosen, block, placed, prices: dict[str, float], out: Path) -> dict[str, Any]:
    import shapely

    houses, ways, cell = placed
    found = block.found.layout
    rows = []
    for k, (row, house, trenches) in enumerate(zip(chosen.rows, houses, ways, strict=True)):
        others = [float(shapely.distance(house, other)) for j, other in enumerate(houses) if j != k]
        keys = ("rank", "score", "parcel", "house", "lon", "lat", "bearing_deg", "cut_m3", "fill_m3", "flags")
        rows.append({name: row[name] for name in keys} | {"gap_m": min(others, default=None)})
        rows[-1]["trenches"] = {
            one.trench.service: {
                "length_m": one.trench.length_m if one.line is not None else None,
                "straight_m": one.straight_m,
                "outside_m": one.outside_m,
                "cost": one.trench.cost,
                "note": one.trench.note,
            }
            for one in trenches
        }
    return {
        "verdict": found.verdict,
        "houses": rows,
        "total_score": found.score,
        "score_bound": found.score_bound,
        "houses_bound": found.houses_bound,
        "proven": found.proven and not block.unproven_bearings,
        "placements": {"passed": block.found.given, "tried": block.found.tried, "box_cells": block.found.boxes},
        "bearing_deg": block.bearing_deg,
        "shade_gap_m": {name: {"left": gap[0], "right": gap[1]} for name, gap in block.gaps_m.items()},
        "trench_cell_m": cell,
        "prices": prices,
        "notes": [*_notes(given, chosen, block), *_over_other_land(rows, feet=_in_feet(chosen))],
        "cautions": list(CAUTIONS),
        "output": str(out),
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
    gap = FOOT_M * 12 if given.gap is None else length_m(given.gap, "--gap")
    if gap < pad - 1e-9:
        apart, apron = (amounts.size(side, feet=_in_feet(chosen)) for side in (gap, pad / 2))
        notes.append(f"houses {apart} apart have aprons of {apron} that overlap: grade them as one pad")
    return notes


def _write(given, chosen, placed, prices: dict[str, float], summary: dict[str, Any], out: Path) -> None:
    from tunnelsite import tables
    from tunnelsite.io.plan_files import write_plan
    from tunnelsite.io.plan_styles import layout_styles
    from tunnelsite.report.layout_layers import layout_table, trenches_table
    from tunnelsite.run_table import run_table

    houses, ways = placed
    run = run_table(chosen)
    asked = ("houses", "mix", "parcel", "first", "gap", "end_gap", "shade_from", "shade_day", "roof", "eave", "price")
    rows = [
        {"kind": "setting", "name": f"layout {name}", "value": str(getattr(given, name))}
        for name in asked
        if getattr(given, name) is not None
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


def _words(summary: dict[str, Any], *, feet: bool) -> str:
    """The block as a table; distances in the user's unit, with the metres in brackets where that is feet."""
    unit = "ft (m)" if feet else "m"

    def length(value_m: float | None, digits: int, none: str) -> str:
        if value_m is None:
            return f"{none:>13}"
        shown = f"{value_m:.{digits}f}"
        return f"{f'{value_m / FOOT_M:.0f} ({shown})' if feet else shown:>13}"

    lines = [summary["verdict"]]
    names = list(summary["houses"][0]["trenches"]) if summary["houses"] else []
    head = f"{'no':>2}  {'score':>5}  {'parcel':<20} {'house':<10} {'lon':>12} {'lat':>10}  {'gap ' + unit:>13}"
    lines.append(head + "".join(f"  {name[:6] + ' ' + unit:>13}" for name in names))
    for row in summary["houses"]:
        line = (
            f"{row['rank']:>2}  {row['score']:5.1f}  {row['parcel'][:20]:<20} {row['house'][:10]:<10} {row['lon']:12.6f} "
            f"{row['lat']:10.6f}  {length(row['gap_m'], 1, '-')}"
        )
        for name in names:
            line += f"  {length(row['trenches'][name]['length_m'], 0, 'no way')}"
        lines.append(line)
    for name in summary["prices"]:
        costs = [row["trenches"][name]["cost"] for row in summary["houses"] if name in row["trenches"]]
        known = [cost for cost in costs if cost is not None]
        price = summary["prices"][name]
        each = f"{price * FOOT_M:.4g} a foot ({price:.4g} a metre)" if feet else f"{price:g} a metre"
        lines.append(f"trenches to {name}: {sum(known):.0f} at {each}, a trench for each house")
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"caution: {text}" for text in summary["cautions"]]
    lines.append(f"Written to {summary['output']}.")
    return "\n".join(lines)
