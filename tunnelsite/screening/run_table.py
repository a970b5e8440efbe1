"""The run table: inputs, settings, versions, what was assumed and the cautions."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterable, Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

from tunnelsite.core import catalogue
from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.grid import Grid
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.moment import run_moment
from tunnelsite.core.reproject import wgs84_doubt
from tunnelsite.core.shown import one_line
from tunnelsite.core.site import Site
from tunnelsite.core.table import TEXT, Heading, Table, table_of
from tunnelsite.scan.pitch_error import stated_error
from tunnelsite.settings.model import Settings
from tunnelsite.settings.paths import PATH_KEYS
from tunnelsite.settings.preset_words import preset_notes

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

LIBRARIES = ("tunnelsite", "numpy", "numba", "rasterio", "pyproj", "shapely", "pvlib", "richdem2")
FILE_SETTINGS = (*PATH_KEYS, "keep_out", "service", "layer")

DOUBT = "doubt"  # name of the notes that come before all others
VERDICT = "verdict"
RUN_COLUMNS = {
    "kind": Heading(TEXT, "input, setting, grid, version, note, caution, project or run"),
    "name": Heading(TEXT, "name"),
    "value": Heading(TEXT, "value"),
    "detail": Heading(TEXT, "detail"),
}


def stamp() -> str:
    """Time of the run in UTC, or that of SOURCE_DATE_EPOCH where a run is to be repeated to the byte."""
    return run_moment().strftime("%Y-%m-%dT%H:%M:%SZ")


def _verdict_rows(result: Result) -> list[dict[str, Any]]:
    """How firm the lead is, where it was worked out before the table was made: it takes seconds."""
    if "rank_shares" not in vars(result) or result.verdict is None:
        return []
    return [{"kind": "note", "name": VERDICT, "value": result.verdict.sentence}]


def run_table(result: Result) -> Table:
    """Everything needed to judge and to repeat the run."""
    rows = [{"kind": "note", "name": DOUBT, "value": text} for text in result.doubts]
    rows += input_rows(result.site) + _grid_rows(result) + setting_rows(result.settings)
    rows += [{"kind": "note", "name": scan_note[0], "value": scan_note[1]} for scan_note in _notes(result)]
    rows += _verdict_rows(result)
    return whole_run_table(rows)


def whole_run_table(rows: Iterable[dict[str, Any]], cautions: Iterable[str] = ()) -> Table:
    """The run table of any command: when it finished, its own rows, versions, the usual cautions and those beyond them."""
    found: list[dict[str, Any]] = [{"kind": "run", "name": "finished", "value": stamp(), "detail": "UTC"}]
    found += [*rows, *version_rows()]
    said = dict.fromkeys([*CAUTIONS, *cautions])
    found += [{"kind": "caution", "name": f"caution {k}", "value": text} for k, text in enumerate(said, 1)]
    return table_of("run", "Inputs, settings, versions, assumptions and cautions", RUN_COLUMNS, found)


def setting_rows(settings: Settings) -> list[dict[str, Any]]:
    """Every setting that says something, without the outputs."""
    values = settings.model_dump(exclude={"out", "overwrite", "rasters", "keep"})
    return [
        {"kind": "setting", "name": name, "value": _short(name, value)}
        for name, value in values.items()
        if value not in (None, [], {})
    ]


def _short(name: str, value: Any) -> str:
    """Settings as text; paths lose their folders, which say nothing about the data."""
    if isinstance(value, str) and name in FILE_SETTINGS:
        return one_line(os.fsencode(os.path.basename(value)).decode("utf-8", "backslashreplace"))
    if isinstance(value, list):
        return "; ".join(_short(name, item) for item in value)
    if isinstance(value, dict):
        return "; ".join(f"{key} = {_short(name, item)}" for key, item in sorted(value.items()))
    return str(value)


def input_rows(site: Site) -> list[dict[str, Any]]:
    """Every input with its SHA-256, unit and coordinate system, and what was found or assumed in it."""
    rows: list[dict[str, Any]] = []
    own = {id(item): name for name, item in (site.own_rasters | site.own_features).items()}
    for item in site.inputs:
        detail = f"{_what(item, own, cell_error=item is site.dem_error)}{item.crs.name if item.crs else 'no coordinate system'}"
        rows.append({"kind": "input", "name": item.name, "value": f"sha256 {item.sha256}", "detail": detail})
        rows += [{"kind": "note", "name": item.name, "value": text} for text in item.notes]
    weather = site.weather
    if weather is not None:
        detail = f"station {weather.lat_deg:.3f}, {weather.lon_deg:.3f}"
        rows.append({"kind": "input", "name": weather.name, "value": f"sha256 {weather.sha256}", "detail": detail})
    wind = site.wind
    if wind is not None:
        rows += [{"kind": "note", "name": wind.name or "wind", "value": text} for text in wind.notes]
        if wind.sha256:
            rows.append({"kind": "input", "name": wind.name, "value": f"sha256 {wind.sha256}", "detail": "wind rose"})
    return rows


def _what(item: SourceRaster | Features, own: Mapping[int, str], *, cell_error: bool) -> str:
    """What an input holds, before its coordinate system. Arguments: own, names of the user's own layers by `id`."""
    layer = f"layer {own[id(item)]}" if id(item) in own else ""
    if not isinstance(item, SourceRaster):
        return f"{layer}; " if layer else ""
    if not layer:
        return f"standard error of heights in {item.unit}; " if cell_error else f"heights in {item.unit}; "
    return f"{layer}, {'classes' if item.classes else f'in {item.unit}' if item.unit else 'no unit stated'}; "


def version_rows() -> list[dict[str, Any]]:
    """Versions of the program and of what its numbers depend on."""
    rows = [{"kind": "version", "name": name, "value": _version(name)} for name in LIBRARIES]
    for group, name, value, package in catalogue.plug_in_versions():
        rows.append({"kind": "version", "name": f"plug-in {name}", "value": package, "detail": f"{group}: {value}"})
    return [*rows, {"kind": "version", "name": "python", "value": platform.python_version()}]


def _grid_rows(result: Result) -> list[dict[str, Any]]:
    rows = []
    for frame in {id(scan.frame): scan.frame for scan in result.scans}.values():
        grid = frame.grid
        size = f"{grid.rows} x {grid.cols} cells of {grid.cell_m:g} m"
        place = f"transverse Mercator centred on {frame.lon_deg:.9f}, {frame.lat_deg:.9f}"
        rows.append({"kind": "grid", "name": _bearing_words(grid), "value": size, "detail": place})
    return rows


def _bearing_words(grid: Grid) -> str:
    return f"bearing {grid.bearing_deg:.12g}"  # from which the same grid is made again


def _notes(result: Result) -> list[tuple[str, str]]:
    notes = [("preset", text) for text in preset_notes(result.settings)]
    notes += [("site", text) for text in result.site.notes]
    for scan in result.scans:
        notes += [(_bearing_words(scan.frame.grid), text) for text in scan.frame.notes]
    notes += [("ranking", text) for text in result.notes]
    notes.append(("pitch", _error_words(result)))
    doubt = wgs84_doubt(result.frame.grid)
    if doubt is not None:
        notes.append(("lon, lat", f"{doubt}; footprints, pads and stakes are in the parcels' own coordinate system"))
    return list(dict.fromkeys(notes))


def _error_words(result: Result) -> str:
    """What the standard error of the pitch rests on."""
    error = stated_error(result.frame, *result.settings.error)
    if error.measured:
        return (
            f"its standard error counts {error.words}, cell by cell, and ground that the model's "
            "cells hide; what a whole flight line is off by is not in it (--elevation-error states another error)"
        )
    if not error.assumed:
        how = (
            "as stated"
            if result.settings.error[1] is not None
            else "the size as stated, the distance assumed: --error-range"
        )
        return f"its standard error counts {error.words} ({how}), and ground that the model's cells hide"
    return (
        f"no elevation error was given: {error.words} are counted, or less where the model is smoother than that, but never less than "
        "lines of flight may differ by (8 cm, assumed); "
        "--elevation-error and --error-range state them"
    )


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed"


def notes_once(notes: Sequence[Mapping[str, str]]) -> list[str]:
    """Notes as lines, each once: what holds for every bearing loses the bearing's name. Arguments: notes, rows of a run table."""
    names = {note["name"] for note in notes if note["name"].startswith("bearing ")}
    lines = []
    for note in notes:
        same = {other["name"] for other in notes if other["value"] == note["value"]}
        alone = note["name"] in names and same >= names
        lines.append(note["value"] if alone else f"{note['name']}: {note['value']}")
    return list(dict.fromkeys(lines))
