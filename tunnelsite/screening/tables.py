"""The result as tables: the layers of `sites.gpkg`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from tunnelsite.core.reproject import from_grid
from tunnelsite.core.sources import source_words
from tunnelsite.core.stakes import DesignPlane, end_words, heights_at, stakes
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.scan import refine
from tunnelsite.scan.engine import Scan
from tunnelsite.scan.open_ground import why_nothing_fits
from tunnelsite.screening.candidate_rows import CANDIDATE_COLUMNS, candidate_columns

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result
GROUND_REASONS = {
    "boundary": "the pad would cross the parcel's boundary or setback",
    "structures": "the pad would be nearer to a structure than the clearance",
    "obstacles": "something drawn in the obstacles stands on the pad (take it out of the file if it will be cleared)",
}


def _shapes(result: Result, size: str) -> np.ndarray:
    """Footprints (`house`) or pads (`pad`) of the candidates in the parcels' coordinate system."""
    shapes = np.empty(len(result.choices), object)
    of = np.array([choice.scan for choice in result.choices], np.int64)
    for number in np.unique(of).tolist():
        scan, mine = result.scans[number], np.flatnonzero(of == number)
        items = np.array([result.choices[k].item for k in mine.tolist()])
        shapes[mine] = from_grid(refine.rectangles(scan, items, getattr(scan, size)), scan.frame.grid, result.crs)
    return shapes


def candidates_table(result: Result) -> Table:
    """Footprints, ranked."""
    return table_of(
        "candidates",
        "Footprints where the house may stand, ranked",
        candidate_columns(result),
        result.rows,
        Places(_shapes(result, "house"), "Polygon", result.crs),
    )


def pads_table(result: Result) -> Table:
    """Graded pads with their design plane."""
    columns = {name: CANDIDATE_COLUMNS[name] for name in ("rank", "parcel", "house")}
    columns |= {
        "level_m": Heading(REAL, "finished height at the centre", "m"),
        "slope_along_pct": Heading(
            REAL, "finished slope along the ridge, + rises to the end the bearing points to", "%"
        ),
        "slope_across_pct": Heading(REAL, "finished slope across the ridge, + rises to the left of the bearing", "%"),
        "shrink": Heading(REAL, "cut allowed for each m3 of compacted fill", "m3/m3"),
    }
    columns |= {name: CANDIDATE_COLUMNS[name] for name in ("pad_m2", "cut_m3", "fill_m3", "max_cut_m", "max_fill_m")}
    rows = []
    for row in result.rows:
        plane = {f"slope_{way}_pct": 100 * row[f"slope_{way}"] for way in ("along", "across")}
        rows.append({**row, **plane, "shrink": result.settings.shrink})
    title = "Pads to be graded: footprint plus apron, with the design plane"
    return table_of("pads", title, columns, rows, Places(_shapes(result, "pad"), "Polygon", result.crs))


def stakes_table(result: Result) -> Table:
    """Stakes of every candidate."""
    columns = {
        "rank": Heading(INTEGER, "rank of the candidate"),
        "kind": Heading(TEXT, "corner, offset, apron or grid"),
        "label": Heading(TEXT, "name of the stake"),
        "along_m": Heading(REAL, "distance from the centre along the ridge", "m"),
        "across_m": Heading(REAL, "distance from the centre across the ridge", "m"),
        "ground_m": Heading(REAL, "natural ground", "m"),
        "finish_m": Heading(REAL, "finished ground; none for offset stakes", "m"),
        "cut_m": Heading(REAL, "cut (+) or fill (-); none for offset stakes", "m"),
    }
    rows, points = [], []
    for choice, row in zip(result.choices, result.rows, strict=True):
        scan = result.scans[choice.scan]
        grid = scan.frame.grid
        found = stakes(
            (scan.house.length_m, scan.house.width_m),
            (scan.pad.length_m, scan.pad.width_m),
            end_words(grid.bearing_deg),
        )
        _, _, along, across = refine.placement(scan, choice.item)
        r, c = (grid.north_m - across) / grid.cell_m - 0.5, (along - grid.west_m) / grid.cell_m - 0.5
        u, v = (np.array([getattr(stake, name) for stake in found]) for name in ("u_m", "v_m"))
        ground = heights_at(scan.frame.ground, r - v / grid.cell_m, c + u / grid.cell_m) + scan.frame.datum_m
        finish = DesignPlane(row["level_m"], row["slope_along"], row["slope_across"]).height(u, v)
        for k, stake in enumerate(found):
            ends = None if stake.kind == "offset" else finish[k]
            cut = None if ends is None else ground[k] - ends
            rows.append(
                {"rank": row["rank"], "kind": stake.kind, "label": stake.label, "along_m": u[k], "across_m": v[k]}
                | {"ground_m": ground[k], "finish_m": ends, "cut_m": cut}
            )
        points.append(from_grid(shapely.points(along + u, across + v), grid, result.crs))
    geometry = np.concatenate(points) if points else np.empty(0, object)
    return table_of(
        "stakes", "Stakes with ground, finish and cut or fill", columns, rows, Places(geometry, "Point", result.crs)
    )


def rejections_table(result: Result) -> Table:
    """Per parcel, house, bearing and rule: placements tried and rejected, and the nearest miss."""
    columns = {
        "parcel": Heading(TEXT, "parcel"),
        "house": Heading(TEXT, "house size as given"),
        "bearing_deg": Heading(REAL, "nominal bearing of the ridge", "deg"),
        "rule": Heading(TEXT, "rule, in the order in which rules are tried"),
        "tried": Heading(INTEGER, "placements that came to this rule"),
        "rejected": Heading(INTEGER, "placements it rejected"),
        "limit_value": Heading(REAL, "the rule's limit, in its unit"),
        "nearest_miss": Heading(REAL, "the rejected measure nearest to the limit"),
        "unit": Heading(TEXT, "unit of limit and miss"),
        "miss_lon": Heading(REAL, "where the nearest miss lies", "deg"),
        "miss_lat": Heading(REAL, "where the nearest miss lies", "deg"),
        "reason": Heading(TEXT, "in words"),
    }
    rows, shapes = [], []
    for scan in result.scans:
        outlines = from_grid(np.asarray(scan.frame.parcels, object), scan.frame.grid, result.crs)
        found = [_parcel_rows(result, scan, parcel) for parcel in range(len(scan.frame.parcels))]
        rows += _placed(scan, [row for some in found for row in some])
        shapes += [_multi(outlines[parcel]) for parcel, some in enumerate(found) for _ in some]
    title = "Why placements were rejected, by parcel and rule"
    geometry = np.array(shapes, object)
    return table_of("rejections", title, columns, rows, Places(geometry, "MultiPolygon", result.crs))


def _placed(scan: Scan, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows with the longitude and latitude of their nearest misses."""
    missed = [row for row in rows if "miss_at" in row]
    grid = scan.frame.grid
    lon, lat = grid.lonlat(*grid.centre(*np.array([row.pop("miss_at") for row in missed], np.int64).reshape(-1, 2).T))
    for row, east, north in zip(missed, lon.tolist(), lat.tolist(), strict=True):
        row |= {"miss_lon": east, "miss_lat": north}
    return rows


def _multi(shape: shapely.Polygon | shapely.MultiPolygon) -> shapely.MultiPolygon:
    return shape if shape.geom_type == "MultiPolygon" else shapely.multipolygons([shape])


def _parcel_rows(result: Result, scan: Scan, parcel: int) -> list[dict[str, Any]]:
    base = {
        "parcel": scan.frame.parcel_names[parcel],
        "house": scan.house.name,
        "bearing_deg": scan.frame.grid.bearing_deg,
    }
    tried = int(scan.ground.inside[parcel])
    rows = []
    for rule, counts in scan.ground.rejected.items():
        rejected = int(counts[parcel])
        reason = GROUND_REASONS.get(rule, f"too near: {rule.removeprefix('keep_out:')}")
        if rule == "boundary" and not tried:
            reason = refine.why_not_tried(scan, parcel, result.site.dem.name)
        elif rule == "boundary" and rejected == tried:
            room = (scan.ground.room[parcel], scan.frame.parcels[parcel])
            reason = why_nothing_fits(*room, scan.pad, scan.house, result.settings.setback_m)
        if tried or rule == "boundary":
            rows.append({**base, "rule": rule, "tried": tried, "rejected": rejected, "reason": reason})
        tried -= rejected
    judges = {judge.id: judge for judge in result.judges}
    for rule, tallies in scan.tallies.items():
        tally, judge = tallies[parcel], judges.get(rule)
        if not tally.tried or (judge is not None and judge.rubric.limit is None):
            continue
        row = {**base, "rule": rule, "tried": tally.tried, "rejected": tally.rejected}
        row["reason"] = "the pad holds cells without data" if judge is None else judge.criterion.description.title
        if judge is not None:
            row |= {"limit_value": judge.rubric.limit, "unit": judge.criterion.description.unit}
        if tally.rejected and np.isfinite(tally.miss):
            row |= {"nearest_miss": tally.miss, "miss_at": (tally.miss_row, tally.miss_col)}
        rows.append(row)
    return rows


def criteria_table(result: Result) -> Table:
    """Every rubric used."""
    columns = {
        "criterion": Heading(TEXT, "id"),
        "title": Heading(TEXT, "what it is"),
        "unit": Heading(TEXT, "unit of the measure"),
        "full_at": Heading(REAL, "full marks at"),
        "none_at": Heading(REAL, "no marks at"),
        "limit_value": Heading(REAL, "reject beyond"),
        "weight": Heading(REAL, "weight"),
        "source": Heading(TEXT, "where the numbers come from"),
        "assessed": Heading(INTEGER, "placements that could be assessed"),
    }
    rows = []
    for judge in result.judges:
        rubric, description = judge.rubric, judge.criterion.description
        assessed = sum(scan.frame.store.finite(scan.measures[judge.id]) for scan in result.scans)
        rows.append(
            {"criterion": judge.id, "title": description.title, "unit": description.unit, "full_at": rubric.full_at}
            | {"none_at": rubric.none_at, "limit_value": rubric.limit, "weight": rubric.weight}
            | {"source": source_words(rubric.source), "assessed": assessed}
        )
    return table_of("criteria", "Criteria and how they are judged", columns, rows)
