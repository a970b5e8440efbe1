"""The stake-out of any place: stakes with their heights, bearings and checks; the plan again from a level book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import PurePath
from typing import Any

import numpy as np
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.amounts import signed_depth
from tunnelsite.core.errors import UsageError, given_or
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import LAYER, PICTURE, TABLE, Content, PlanKind
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site
from tunnelsite.core.stake_sheet import StakeSheet
from tunnelsite.core.stakes import heights_at
from tunnelsite.core.table import REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.core.units import feet_inches, number
from tunnelsite.core.wording import place_words
from tunnelsite.drawing.phone_page import phone_html
from tunnelsite.io.formats.stake_page import page_html
from tunnelsite.io.formats.stake_sheets import sheet_table
from tunnelsite.io.formats.stake_sketch import sketch_svg
from tunnelsite.plans.candidate import Candidate, standing
from tunnelsite.plans.grading.asked import elevation_error
from tunnelsite.plans.plan import Lineage, Plan
from tunnelsite.plans.run_table import plan_run_table
from tunnelsite.plans.stakeout.levelled import levelled_sheet
from tunnelsite.plans.stakeout.settings import StakeOutSettings
from tunnelsite.plans.stakeout.sheet import FixedPoint, HouseToStake, StakingOptions, stake_sheet
from tunnelsite.plans.stakeout.staked_pad import StakedPad, ground_notes, planned_pad, screened_pad

STEM = "stakes"
FILES = {"sheet": ".csv", "page": ".html", "phone": "-phone.html"}
STAKE_COLUMNS = {
    "kind": Heading(TEXT, "kind of stake"),
    "label": Heading(TEXT, "name of the stake"),
    "along_m": Heading(REAL, "along the ridge from the centre", "m"),
    "across_m": Heading(REAL, "across the ridge from the centre", "m"),
    "ground_m": Heading(REAL, "natural ground", "m"),
    "finish_m": Heading(REAL, "finished ground", "m"),
    "cut_m": Heading(REAL, "cut (+) or fill (-)", "m"),
}


@dataclass(frozen=True)
class StakedOut:
    """One place, staked out.

    Attributes: found, the place on its frame; sheet, for every format; pad, the finished pad of the elevation model or a grading plan;
    levelled, what a level book says, ready for JSON.
    """

    found: Candidate
    sheet: StakeSheet
    pad: StakedPad
    levelled: dict[str, Any] = field(default_factory=dict)


def stake_out(
    site: Site, place: Placement, settings: StakeOutSettings | None = None, progress: Progress = silent
) -> Plan:
    """Stakes of one house at a place, for a crew with tape, string and level.

    Args:
        site: as read.
        place: anywhere on the DEM; its settings say the apron, the finished pitch and the shrink factor.
        settings: of the stake-out; they name a grading plan or a level book.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Plan with the layer `stakes`, the tables `sheet` and `run` and the picture `sketch`; its `detail` is `StakedOut`.
        `io.formats.stake_sheets` writes its sheet as CSV, GPX, GeoJSON, DXF or a page.

    Raises:
        InputRefused: where ground under the pad is not known, for a plan of another pad, or a level book that cannot be used.
        UsageError: for distances that cannot be meant.
    """
    return stake_out_of(standing(site, place), settings, progress)


def stake_out_of(found: Candidate, settings: StakeOutSettings | None = None, progress: Progress = silent) -> Plan:
    """The same for a place on its frame."""
    asked = given_or(settings, StakeOutSettings)
    progress("stakes", 0.5)
    planned = asked.pad_of_plan
    pad = screened_pad(asked.plane, found) if planned is None else planned_pad(planned, found)
    sheet = _sheet(found, pad, asked)
    levelled: dict[str, Any] = {}
    if asked.level_book is not None:
        sheet, levelled = levelled_sheet(asked.level_book, asked, found, sheet)
    made = StakedOut(found, sheet, pad, levelled)
    inputs = {item.name: item.sha256 for item in found.site.inputs}
    return Plan(
        STAKE_OUT.id,
        sheet.title,
        _summary(made),
        {"sketch": sketch_svg(sheet)},
        {"sheet": sheet_table(sheet)},
        (_stakes(sheet), _run(made, asked)),
        Lineage(sheet.crs, f"Stakes of {found.which} by tunnelsite.", inputs | dict(_sources(found, asked))),
        sheet.notes,
        sheet.cautions,
        STEM,
        FILES,
        made,
        {"page": page_html(sheet), "phone": phone_html(sheet)},
    )


def _sheet(found: Candidate, pad: StakedPad, asked: StakeOutSettings) -> StakeSheet:
    place, grid = found.place, found.place.grid
    centre = place.centre

    def ground_at(along: np.ndarray, across: np.ndarray) -> np.ndarray:
        return heights_at(found.ground, *place.cells(along - centre[0], across - centre[1]))

    words = f"{found.site.dem.name}, an elevation model, between cells of {grid.cell_m:g} m; not levelled in the field"
    if asked.level_book is None:
        off = signed_depth(elevation_error(found)[0].sd_m, feet=place.house.feet)[0].lstrip("+")
        words += (
            f"; a single height is off by about {off} (standard error), and so is the cut or fill at one stake, while volumes and "
            "depths of the grading plan leave out what such errors show"
        )
    placed = HouseToStake(grid, *centre, ground_at, words)
    options = StakingOptions(
        asked.post_spacing_m, asked.boards_m, asked.bench_mark_m, asked.date, asked.offset_m, _fixed_points(asked.tie)
    )
    sheet = stake_sheet(found.title, place.house, place.pad, placed, pad.finish, found.crs, options)
    own = () if asked.level_book is not None else (pad.note,)  # the readings bring their own
    return replace(sheet, notes=(*ground_notes(found, sheet), *own, *sheet.notes, *found.notes))


def _fixed_points(texts: Sequence[str]) -> tuple[FixedPoint, ...]:
    """The points of NAME=LON,LAT. Errors: UsageError."""
    found = []
    for text in texts:
        name, _, place = text.rpartition("=")
        parts = place.split(",")
        if not name.strip() or len(parts) != 2:
            raise UsageError(
                f"tie is {text!r}", "NAME=LON,LAT in WGS 84 degrees", "write it as barn=-78.14967,43.00756"
            )
        lon, lat = (number(part, f"tie {name}") for part in parts)
        if not (-180 <= lon <= 180 and -90 <= lat <= 90):
            raise UsageError(f"tie is {text!r}", "longitude -180 to 180, latitude -90 to 90", "longitude comes first")
        found.append(FixedPoint(name.strip(), lon, lat))
    return tuple(found)


def _stakes(sheet: StakeSheet) -> Table:
    rows = [{name: getattr(point, name) for name in STAKE_COLUMNS} for point in sheet.points]
    points = shapely.points([(point.easting, point.northing) for point in sheet.points])
    return table_of("stakes", "Stakes", STAKE_COLUMNS, rows, Places(points, "Point", sheet.crs))


def _sources(found: Candidate, asked: StakeOutSettings) -> list[tuple[str, str]]:
    """(name, SHA-256) of what was read beside the site: the screening, the grading plan, the level book."""
    brought = [one for one in (asked.pad_of_plan, asked.level_book) if one is not None and one.sha256]
    return [*found.placement.sources, *((PurePath(one.name).name, one.sha256) for one in brought)]


def _run(made: StakedOut, asked: StakeOutSettings) -> Table:
    """The run table: what was read, and what was asked beside the defaults."""
    found, usual = made.found, StakeOutSettings()
    said = {one.name: getattr(asked, one.name) for one in fields(asked) if one.name not in ("grading", "level_book")}
    said = {name: value for name, value in said.items() if value != getattr(usual, name)}
    return plan_run_table(
        found.site, found.origin | said, made.sheet.notes, made.sheet.cautions, _sources(found, asked)
    )


def _summary(made: StakedOut) -> dict[str, Any]:
    found, sheet, plane, earth = made.found, made.sheet, made.pad.plane, made.pad.earth
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
        **made.levelled,
        "heights": sheet.heights_words,
        "notes": list(sheet.notes),
        "cautions": list(sheet.cautions),
    }


def summary_lines(summary: dict[str, Any], *, feet: bool) -> list[str]:
    """The summary of a stake-out in words, a line each. Arguments: summary; feet, whether the user works in feet."""
    sizes = []
    for name in ("length", "width", "diagonal"):
        tape, metres = feet_inches(summary[f"{name}_m"]), f"{summary[f'{name}_m']:.3f} m"
        sizes.append(f"{name} {tape} ({metres})" if feet else f"{name} {metres} ({tape})")
    size = ", ".join(sizes)
    lines = [f"{summary['title']} ({place_words(summary['lon'], summary['lat'])})", size]
    lines += [f"ridge {name}: {words}" for name, words in summary["bearings"].items()]
    lines.append(", ".join(f"{count} {kind}" for kind, count in summary["stakes"].items()) + " stakes")
    if "level_book" not in summary:
        lines.append(f"finished pad {_pad_words(summary['elevation_model_plan'], feet)} by the elevation model")
    else:
        lines.append(f"level book: {summary['level_book']['verdict']}")
        lines.append(f"finished pad by the readings {_pad_words(summary['measured_plan'], feet)}")
    if "as_built" in summary:
        lines += [f"as built: {check['words']}" for check in summary["as_built"]["checks"]]
        lines.append(f"as built: {summary['as_built']['verdict']}")
    return lines + [f"note: {text}" for text in summary["notes"]]


def _pad_words(plan: dict[str, Any], feet: bool) -> str:
    cut, fill = (amounts.volume(plan[name], feet=feet) for name in ("cut_m3", "fill_m3"))
    return (
        f"{amounts.level(plan['level_m'], feet=feet)} at its centre, rises {100 * plan['slope_along']:+.3f} % along, "
        f"{100 * plan['slope_across']:+.3f} % across; the pad alone, without side slopes: cut {cut}, fill {fill}"
    )


STAKE_OUT = PlanKind(
    id="stake_out",
    title="Stake-out",
    text="Stakes of one house with places, heights and cut or fill, bearings and checks of its squareness, and the plan again from a "
    "level book.",
    source="common practice, no source",
    settings=StakeOutSettings,
    make=stake_out,
    gives=(
        Content("stakes", LAYER, "the stakes with their heights"),
        Content("sheet", TABLE, "the same as a sheet for the field"),
        Content("sketch", PICTURE, "plan of the stakes, to scale"),
        Content("run", TABLE, "inputs, settings, notes, versions and cautions"),
    ),
    reads=("service",),
    follows=("apron", "pad_pitch", "shrink", "elevation_error", "error_range"),
)
