"""`grading`: grading and drainage plan of one candidate as layers, pictures, profiles and numbers."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from tunnelsite.core.units import length_m
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.options import project_values
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.stakeout import asked_candidate, ground_only, without_outputs
from tunnelsite.hosts.cli.streams import answer

LEAST_CONTOUR_M = 0.1  # below it contours draw the noise of the elevation model
FOOTER = (
    "A plan from elevation data, not a survey: level the pad before earth is moved. Have buried utilities marked before any digging.",
    "Local codes and permits rule; retaining, drainage across boundaries and loads need licensed practice.",
)


def grading(given: argparse.Namespace) -> int:
    """Plan the earthwork and the drainage of one candidate and write what was planned."""
    from tunnelsite.hosts.cli.grading_asked import drainage_settings, elevation_error, error_asked, grading_settings
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.settings.model import settings_from

    everything = project_values(given)
    settings_from(without_outputs(everything))  # wrong options are refused before anything is read
    values = ground_only(everything, keep=("service",))  # earth is moved over lines that lie there
    sites, rank = asked_candidate(given)
    asked, water = error_asked(given), drainage_settings(given)
    grading_settings(given, 0.0, 1.0)
    interval = None if given.contours is None else length_m(given.contours, "--contours", least_m=0.01, most_m=100.0)
    outputs = _outputs(given)
    progress = Progress(quiet=given.quiet)
    with reserved_outputs(outputs, inputs_named(given, everything), overwrite=bool(given.overwrite)):
        progress("reading", 0.0)
        from tunnelsite.plans.candidate import find_candidate

        found = find_candidate(values, sites, rank)
        settings = grading_settings(given, found.settings.pad_pitch, found.settings.shrink)
        progress("earthwork", 0.2)
        error = elevation_error(asked, found)
        plan, drainage, spread = _planned(found, settings, water, (error[0], asked.draws), progress)
        interval = interval or _interval(plan)
        summary = _summary(found, (plan, drainage, spread), (water, *error), interval, outputs)
        _write(given, found, (plan, drainage), summary, interval, outputs)
        progress("writing", 1.0)
    answer(summary, lambda told: _words(told, feet=found.place.house.feet), as_json=given.json)
    return 0


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    main = Path(given.out)
    check_ending("--out", main, ".gpkg")
    stem = main.with_suffix("")
    found = {
        "layers": main,
        "map": stem.with_name(f"{stem.name}-map.svg"),
        "profiles": stem.with_name(f"{stem.name}-profiles.svg"),
        "profile_table": stem.with_name(f"{stem.name}-profiles.csv"),
        "station_table": stem.with_name(f"{stem.name}-stations.csv"),
        "summary": stem.with_name(f"{stem.name}.json"),
    }
    if given.png:
        from tunnelsite.drawing.png import require_png

        require_png()
        found |= {f"{name}_png": found[name].with_suffix(".png") for name in ("map", "profiles")}
    return found


def _planned(found, settings, water, error, progress: Progress):
    """(grading plan, drainage plan, spread of the volumes)."""
    from tunnelsite.io.read.site import inputs_unchanged
    from tunnelsite.plans.drainage.plan import drainage_plan
    from tunnelsite.plans.grading.error import earthwork_error
    from tunnelsite.plans.grading.plan import grading_plan

    limits = found.limits
    plan = grading_plan(found.ground, found.place, settings, limits, error[0])
    progress("water", 0.0)
    drainage = drainage_plan(plan, water, limits)
    progress("uncertainty", 0.0)
    spread = earthwork_error(plan, *error)
    inputs_unchanged(found.site)
    return plan, drainage, spread


def _interval(plan) -> float:
    from tunnelsite.drawing.contours import contour_interval

    return contour_interval(plan.window()[2], LEAST_CONTOUR_M)


def _summary(found, plans, asked, interval: float, outputs: dict[str, Path]) -> dict[str, Any]:
    from tunnelsite.plans.grading.words import drainage_summary, grading_summary

    (plan, drainage, spread), (water, error, assumed) = plans, asked
    return {
        "title": found.title,
        "lon": found.lon_deg,
        "lat": found.lat_deg,
        "bearing_deg": float(found.screened.row["bearing_deg"]),
        "grading": grading_summary(plan, spread),
        "drainage": drainage_summary(drainage, found.place, water.storm),
        "contour_interval_m": interval,
        "elevation_error": {"standard_error_m": error.sd_m, "alike_over_m": error.range_m},
        "assumed": assumed,
        "notes": list(found.notes),
        "cautions": list(dict.fromkeys([*plan.warnings, *drainage.warnings])),
        "outputs": {name: str(path) for name, path in outputs.items()},
    }


def _write(given, found, plans, summary: dict[str, Any], interval: float, outputs: dict[str, Path]) -> None:
    from tunnelsite.io.formats.csv_table import write_csv
    from tunnelsite.io.formats.plan_styles import plan_styles
    from tunnelsite.io.formats.tables import Table
    from tunnelsite.io.write.plan_files import write_plan
    from tunnelsite.io.write.staging import write_whole
    from tunnelsite.plans.grading.layers import areas_table, lines_table, station_rows, stations_table
    from tunnelsite.plans.grading.map import MapData, grading_map_svg
    from tunnelsite.plans.grading.profiles import profiles_svg
    from tunnelsite.plans.grading.words import profile_rows
    from tunnelsite.plans.run_table import plan_run_table
    from tunnelsite.plans.stakeout.stations import stations

    plan, drainage = plans
    overwrite, crs = bool(given.overwrite), found.site.parcels.crs
    pictures = {
        "map": grading_map_svg(MapData(found.title, plan, drainage, interval, FOOTER)),
        "profiles": profiles_svg(found.title, plan, FOOTER),
    }
    options = {name: getattr(given, name) for name in _asked_names(given)}
    run = plan_run_table(
        found.site,
        {"sites": found.screened.file, "rank": found.rank, **options},
        [*summary["notes"], *summary["assumed"]],
        summary["cautions"],
    )
    stood = stations(plan, drainage)
    staked = stations_table(plan, stood, crs)
    tables = [lines_table(plan, drainage, interval, crs), areas_table(plan, crs), staked, run]
    sources = {item.name: item.sha256 for item in found.site.inputs}
    statement = f"Grading and drainage plan of candidate {found.rank} of {found.screened.file} by tunnelsite."
    write_plan(
        outputs["layers"],
        tables,
        crs=crs,
        statement=statement,
        sources=sources,
        overwrite=overwrite,
        styles=plan_styles(),
    )
    for name, svg in pictures.items():
        write_whole(outputs[name], svg, overwrite=overwrite)
        if f"{name}_png" in outputs:
            from tunnelsite.drawing.png import png_of

            write_whole(outputs[f"{name}_png"], png_of(svg), overwrite=overwrite)
    for name, rows in (("profile_table", profile_rows(plan)), ("station_table", station_rows(plan, stood, staked))):
        write_csv(outputs[name], Table(_columns(rows)), overwrite=overwrite)
    write_whole(outputs["summary"], json.dumps(summary, indent=2, allow_nan=False) + "\n", overwrite=overwrite)


def _columns(rows: list[dict[str, Any]]):
    from tunnelsite.io.formats.tables import Column

    names = rows[0] if rows else ("label",)  # nothing to stake: a heading alone
    words = ("profile", "label", "kind", "care")
    return {name: Column([row[name] for row in rows], "TEXT" if name in words else "REAL") for name in names}


def _asked_names(given: argparse.Namespace) -> list[str]:
    from tunnelsite.hosts.cli.grading_options import EARTH, WATER

    return ["balance", "no_swale", *(option[2:].replace("-", "_") for option, _, _ in (*EARTH, *WATER))]


def _words(summary: dict[str, Any], *, feet: bool) -> str:
    from tunnelsite.plans.grading.words import grading_lines

    lines = grading_lines(summary, feet=feet)
    lines += [f"assumed: {text}" for text in summary["assumed"]]
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"caution: {text}" for text in summary["cautions"]]
    lines += [f"written: {path}" for path in summary["outputs"].values()]
    return "\n".join(lines)
