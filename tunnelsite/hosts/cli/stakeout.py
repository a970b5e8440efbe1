"""`stakeout`: the sheets a crew takes to the field for one candidate, and the plan again from what it levelled there."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import length_m
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.options import project_values
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.stakeout_pad import StakedPad, ground_notes, planned_pad, screened_pad
from tunnelsite.hosts.cli.streams import answer

DEFAULT_OUT = "stakes.csv"
ENDINGS = (".csv", ".gpx", ".geojson", ".dxf", ".html")
NEAR_M = 100.0  # land round the parcels that a sheet needs
OWN_OUTPUTS = ("out", "overwrite", "rasters", "keep")  # of the screening, not of what follows
LEVEL_OPTIONS = ("level_unit", "bench_height", "known_height")


def stakeout(given: argparse.Namespace) -> int:
    """Write the stake-out sheets of one candidate."""
    from tunnelsite.io.formats.stake_sheets import write_stake_sheet
    from tunnelsite.io.read.site import inputs_unchanged
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.plans.candidate import find_candidate
    from tunnelsite.settings.model import settings_from

    everything = project_values(given)
    settings_from(without_outputs(everything))  # wrong settings are refused before anything is read
    values = ground_only(everything, also=("keep_out", "structures"), keep=("service",))
    sites, rank = asked_candidate(given)
    options, outputs = _staking(given), _outputs(given)
    _check_level_options(given)
    progress = Progress(quiet=given.quiet)
    named = {f"output {k}": path for k, path in enumerate(outputs, 1)}
    with reserved_outputs(named, inputs_named(given, everything), overwrite=bool(given.overwrite)):
        progress("reading", 0.0)
        found = find_candidate(values, sites, rank, near_m=NEAR_M)
        progress("stakes", 0.5)
        pad = screened_pad(given.plane, found) if given.grading is None else planned_pad(given.grading, found)
        sheet = _sheet(given, found, pad, options)
        levelled: dict[str, Any] = {}
        if given.level_book is not None:
            from tunnelsite.plans.stakeout.levelled import levelled_sheet

            sheet, levelled = levelled_sheet(given, found, sheet)
        inputs_unchanged(found.site)
        for path in outputs:
            write_stake_sheet(path, sheet, overwrite=bool(given.overwrite))
        progress("writing", 1.0)
    summary = _summary(found, sheet, pad, levelled, outputs)
    answer(summary, lambda told: _words(told, feet=sheet.feet), as_json=given.json)
    return 0


def asked_candidate(given: argparse.Namespace) -> tuple[str, int]:
    """(GeoPackage, rank) that were asked for. Errors: UsageError."""
    if given.sites is None or given.rank is None:
        missing = " and ".join(f"--{name}" for name in ("sites", "rank") if getattr(given, name) is None)
        raise UsageError(f"{missing} is missing", "a screening and a rank", "say --sites sites.gpkg --rank 1")
    if given.rank < 1:
        raise UsageError(f"--rank is {given.rank}", "1 or more", "correct it")
    return given.sites, given.rank


def without_outputs(values: dict[str, Any]) -> dict[str, Any]:
    """Settings without the outputs of a screening, whose names these commands use for their own."""
    return {name: value for name, value in values.items() if name not in OWN_OUTPUTS}


def ground_only(values: dict[str, Any], also: tuple[str, ...] = (), keep: tuple[str, ...] = ()) -> dict[str, Any]:
    """Settings without the inputs that neither stakes nor earth depend on, nor `also` those named, but with those to `keep`."""
    unused = ("surface", "obstacles", "lamps", "soils", "weather", "wind", "wind_from", "service", *also)
    return {name: value for name, value in without_outputs(values).items() if name not in unused or name in keep}


def _staking(given: argparse.Namespace):
    import datetime

    from tunnelsite.plans.stakeout.bearings import check_day
    from tunnelsite.plans.stakeout.sheet import StakingOptions

    default = StakingOptions()
    day = None
    if given.date is not None:
        try:
            day = datetime.date.fromisoformat(given.date)
        except ValueError:
            raise UsageError(f"--date is {given.date!r}", "a day as YYYY-MM-DD", "correct it") from None
        check_day(day)
    lengths = {
        "post_spacing_m": (given.post_spacing, "--post-spacing", default.post_spacing_m),
        "boards_beyond_m": (given.boards, "--boards", default.boards_beyond_m),
        "bench_beyond_m": (given.bench_mark, "--bench-mark", default.bench_beyond_m),
    }
    found = {
        name: preset if text is None else length_m(text, option, most_m=200.0)
        for name, (text, option, preset) in lengths.items()
    }
    return StakingOptions(**found, date=day)


def _outputs(given: argparse.Namespace) -> list[Path]:
    outputs = [Path(text) for text in given.out or [DEFAULT_OUT]]
    for path in outputs:
        check_ending("--out", path, *ENDINGS)
        if path.suffix.lower() == ".dxf":
            import importlib.util

            if importlib.util.find_spec("ezdxf") is None:
                raise UsageError(f"--out is {path} and ezdxf is not installed", "the extra `dxf`", "install it")
    if len({path.resolve() for path in outputs}) < len(outputs):
        raise UsageError("--out names the same file twice", "different files", "leave one out")
    return outputs


def _check_level_options(given: argparse.Namespace) -> None:
    """Errors: UsageError for a level book without unit or bench height, or those without a book."""
    if given.grading is not None and (given.plane is not None or given.level_book is not None):
        other = "--plane" if given.plane is not None else "--level-book"
        raise UsageError(
            f"--grading and {other}",
            "one of them",
            "leave one out: with a level book the plan is made again from the readings",
        )
    if given.level_book is None:
        for name in (*LEVEL_OPTIONS, "as_built"):
            if getattr(given, name):
                option = f"--{name.replace('_', '-')}"
                raise UsageError(f"{option} without --level-book", "both together", "name the level book")
        return
    if given.level_unit is None:
        raise UsageError("--level-book without --level-unit", "m, ft or us-ft", "say what the rod was read in")
    if given.bench_height is None:
        raise UsageError(
            "--level-book without --bench-height",
            "the height of the mark on which the book starts",
            "give it; 100 will do if nothing is known",
        )
    from tunnelsite.plans.stakeout.levelled import known_heights

    known_heights(given, "the mark on which the book starts (--bench-height)")


def _sheet(given: argparse.Namespace, found, pad: StakedPad, options):
    from tunnelsite.core.stakes import heights_at
    from tunnelsite.plans.stakeout.sheet import Placed, stake_sheet

    place, grid = found.place, found.place.grid
    centre = place.centre

    def ground_at(along, across):
        return heights_at(found.ground, *place.cells(along - centre[0], across - centre[1]))

    words = f"{found.site.dem.name}, an elevation model, between cells of {grid.cell_m:g} m; not levelled in the field"
    placed = Placed(grid, *centre, ground_at, words)
    sheet = stake_sheet(
        given.title or found.title, place.house, place.pad, placed, pad.finish, found.site.parcels.crs, options
    )
    own = () if given.level_book is not None else (pad.note,)  # the readings bring their own
    return replace(sheet, notes=(*ground_notes(found, sheet), *own, *sheet.notes, *found.notes))


def _summary(found, sheet, pad: StakedPad, levelled: dict[str, Any], outputs: list[Path]) -> dict[str, Any]:
    plane, earth = pad.plane, pad.earth
    kinds: dict[str, int] = {}
    for point in sheet.points:
        kinds[point.kind] = kinds.get(point.kind, 0) + 1
    return {
        "title": sheet.title,
        "lon": found.lon_deg,
        "lat": found.lat_deg,
        "house": sheet.house,
        "length_m": sheet.length_m,
        "width_m": sheet.width_m,
        "diagonal_m": sheet.diagonal_m,
        "bearing_deg": sheet.true_deg,
        "bearings": dict(sheet.bearings),
        "post_spacing_m": sheet.post_spacing_m,
        "stakes": kinds,
        "elevation_model_plan": {
            "level_m": plane.level_m,
            "slope_along": plane.slope_along,
            "slope_across": plane.slope_across,
            "cut_m3": earth.cut_m3,
            "fill_m3": earth.fill_m3,
            "max_cut_m": earth.max_cut_m,
            "max_fill_m": earth.max_fill_m,
        },
        **levelled,
        "heights": sheet.heights_words,
        "notes": list(sheet.notes),
        "cautions": list(sheet.cautions),
        "outputs": [str(path) for path in outputs],
    }


def _words(summary: dict[str, Any], *, feet: bool) -> str:
    from tunnelsite.core.units import feet_inches

    plan = summary["elevation_model_plan"]
    size = ", ".join(
        f"{name} {summary[key]:.3f} m ({feet_inches(summary[key])})"
        for name, key in (("length", "length_m"), ("width", "width_m"), ("diagonal", "diagonal_m"))
    )
    lines = [f"{summary['title']} ({summary['lon']:.6f}, {summary['lat']:.6f})", size]
    lines += [f"ridge {name}: {words}" for name, words in summary["bearings"].items()]
    lines.append(", ".join(f"{count} {kind}" for kind, count in summary["stakes"].items()) + " stakes")
    if "level_book" not in summary:
        lines.append(f"finished pad {_pad_words(plan, feet)} by the elevation model")
    else:
        lines += _level_words(summary, feet)
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"written: {path}" for path in summary["outputs"]]
    lines.append(
        "Have buried lines located and marked before any stake or post is driven; look up for overhead lines; local "
        "codes and the maker's drawings rule."
    )
    return "\n".join(lines)


def _pad_words(plan: dict[str, Any], feet: bool) -> str:
    from tunnelsite.core import amounts

    cut, fill = (amounts.volume(plan[name], feet=feet) for name in ("cut_m3", "fill_m3"))
    return (
        f"{amounts.level(plan['level_m'], feet=feet)} at its centre, rises {100 * plan['slope_along']:+.3f} % along, "
        f"{100 * plan['slope_across']:+.3f} % across; cut {cut}, fill {fill}"
    )


def _level_words(summary: dict[str, Any], feet: bool) -> list[str]:
    lines = [
        f"level book: {summary['level_book']['verdict']}",
        f"finished pad by the readings {_pad_words(summary['measured_plan'], feet)}",
    ]
    if "as_built" in summary:
        lines += [f"as built: {check['words']}" for check in summary["as_built"]["checks"]]
        lines.append(f"as built: {summary['as_built']['verdict']}")
    return lines
