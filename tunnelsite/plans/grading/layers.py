"""The layers of a grading plan: lines and areas to be staked or drawn, as tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core import amounts
from tunnelsite.core.reproject import from_grid, to_wgs84
from tunnelsite.core.stake_sheet import CARE
from tunnelsite.core.table import REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.core.units import also_in_feet
from tunnelsite.drawing.contours import contour_lines
from tunnelsite.plans.drainage.plan import DrainagePlan
from tunnelsite.plans.grading.plan import GradingPlan
from tunnelsite.plans.place import box
from tunnelsite.plans.stakeout.stations import Station

LINE_COLUMNS = {
    "kind": Heading(TEXT, "daylight, swale, level spreader, drain, flow path, contour before or contour after"),
    "label": Heading(TEXT, "what it is, in words"),
    "level_m": Heading(REAL, "height of a contour; bottom of a swale at its end; lip of a level spreader", "m"),
    "length_m": Heading(REAL, "length", "m"),
    "fall_pct": Heading(REAL, "mean fall of a swale's bottom", "%"),
    "drains_m2": Heading(REAL, "land that drains into it", "m2"),
}
AREA_COLUMNS = {
    "kind": Heading(TEXT, "footprint, pad or disturbed ground"),
    "area_m2": Heading(REAL, "area", "m2"),
    "level_m": Heading(REAL, "finished height at the centre of the pad", "m"),
    "slope_along_pct": Heading(REAL, "finished slope along the ridge", "%"),
    "slope_across_pct": Heading(REAL, "finished slope across the ridge", "%"),
}


STATION_COLUMNS = {
    "kind": Heading(TEXT, "swale, level spreader or slope stake"),
    "label": Heading(TEXT, "name of the stake"),
    "station_m": Heading(
        REAL, "from the upper end of the swale or an end of the lip; slope stakes: from the pad's edge", "m"
    ),
    "ground_m": Heading(REAL, "natural ground", "m"),
    "finish_m": Heading(
        REAL, "bottom of the swale, level of the lip, or finished edge of the pad beside a slope stake", "m"
    ),
    "cut_m": Heading(REAL, "cut (+) or fill (-) from the ground to that height", "m"),
}


def stations_table(plan: GradingPlan, found: Sequence[Station], crs: pyproj.CRS) -> Table:
    """Stakes of what is dug round the pad. Arguments: plan; found, from `plans.stakeout.stations`; crs of their points."""
    rows = [{name: getattr(one, name) for name in STATION_COLUMNS} for one in found]
    shapes = list(shapely.points([[one.along_m, one.across_m] for one in found])) if found else []
    title = "Stakes of swale, level spreaders and side slopes"
    return table_of("stations", title, STATION_COLUMNS, rows, Places(_moved(plan, shapes, crs), "Point", crs))


def station_columns(*, feet: bool) -> tuple[str, ...]:
    """The columns of the sheet that `station_rows` makes."""
    metres = [name for name in STATION_COLUMNS if name.endswith("_m")]
    also = also_in_feet(dict.fromkeys(metres)) if feet else {}
    return ("label", "kind", "easting", "northing", "lon", "lat", *metres, *also, "care")


def station_rows(plan: GradingPlan, found: Sequence[Station], table: Table) -> list[dict[str, Any]]:
    """The same for a sheet: places as numbers, and lengths in feet too where the user works in feet."""
    if table.crs is None or table.geometry is None:
        raise ValueError("the stakes are without places; expected the table of `stations_table`")
    grid, digits, rows = plan.place.grid, 9 if table.crs.is_geographic else 4, []
    for one, row, point in zip(found, table.rows, table.geometry, strict=True):
        lon, lat = (float(part[0]) for part in to_wgs84(grid, np.array([one.along_m]), np.array([one.across_m])))
        metres = {name: round(value, 4) + 0.0 for name, value in row.items() if name.endswith("_m")}
        sheet = {"label": row["label"], "kind": row["kind"], "easting": round(point.x, digits)}
        sheet |= {"northing": round(point.y, digits), "lon": round(lon, 9), "lat": round(lat, 9), **metres}
        if plan.place.house.feet:
            sheet |= also_in_feet(metres)
        rows.append(sheet | {"care": CARE})
    return rows


def lines_table(plan: GradingPlan, drainage: DrainagePlan | None, interval_m: float, crs: pyproj.CRS) -> Table:
    """Daylight line, swale, level spreaders, drain, flow paths and contours.

    Arguments: plan; drainage, or None; interval_m, of the contours [m]; crs in which the lines are wanted.
    """
    rows: list[dict[str, Any]] = []
    shapes: list[shapely.Geometry] = []

    def add(shape: shapely.Geometry, kind: str, label: str, **values: Any) -> None:
        rows.append({"kind": kind, "label": label, "length_m": float(shape.length), **values})
        shapes.append(shape)

    for ring in shapely.get_rings(shapely.get_parts(plan.outline)):
        add(shapely.LineString(ring.coords), "daylight", "where side slopes meet the ground")
    if drainage is not None:
        if drainage.drain is not None:
            add(shapely.LineString(drainage.drain.coords), "drain", "French drain off the ground posts")
        for k, (arm, flow) in enumerate(zip(drainage.arms, drainage.outlets, strict=True), 1):
            fall = 100 * (arm.bottom_m[0] - arm.bottom_m[-1]) / max(arm.distance_m[-1], 1e-9)
            end = "to daylight" if arm.daylight else "NOT to daylight"
            label, values = f"swale arm {k}, {end}", {"level_m": arm.bottom_m[-1], "drains_m2": flow.area_m2}
            add(arm.line, "swale", label, fall_pct=fall, **values)
        for one in drainage.spreaders:
            add(
                one.line,
                "level spreader",
                "level lip at the swale's outlet",
                level_m=one.level_m,
                drains_m2=one.area_m2,
            )
        for path, inflow in zip(drainage.paths, drainage.inflows_before, strict=True):
            if path.length > 0:
                add(path, "flow path", "way of the water that enters before grading", drains_m2=inflow.area_m2)
    after = plan.finished if drainage is None else drainage.surface
    reach = plan.outline if drainage is None else shapely.union_all([plan.outline, *drainage.lines])
    rows_, cols_ = plan.place.window(reach.buffer(10.0).bounds)
    along, _ = plan.place.grid.centre(0, np.arange(cols_.start, cols_.stop))
    _, across = plan.place.grid.centre(np.arange(rows_.start, rows_.stop), 0)
    for when, surface in (("before", plan.natural), ("after", after)):
        for level, points in contour_lines(along, across, surface[rows_, cols_], interval_m):
            line = shapely.linestrings(points)
            add(line, f"contour {when}", amounts.height(level, feet=plan.place.house.feet), level_m=level)
    return table_of(
        "lines",
        "Lines of the grading and drainage plan",
        LINE_COLUMNS,
        rows,
        Places(_moved(plan, shapes, crs), "LineString", crs),
    )


def areas_table(plan: GradingPlan, crs: pyproj.CRS) -> Table:
    """Footprint, pad and disturbed ground."""
    place, plane = plan.place, plan.plane
    finish = {
        "level_m": plane.level_m,
        "slope_along_pct": 100 * plane.slope_along,
        "slope_across_pct": 100 * plane.slope_across,
    }
    shapes = [
        place.on_grid(box(place.house.length_m / 2, place.house.width_m / 2)),
        place.on_grid(box(place.pad.length_m / 2, place.pad.width_m / 2)),
        plan.outline,
    ]
    kinds = ("footprint", "pad", "disturbed ground")
    rows = [
        {"kind": kind, "area_m2": float(shape.area), **(finish if kind == "pad" else {})}
        for kind, shape in zip(kinds, shapes, strict=True)
    ]
    shapes = [shapely.multipolygons(shapely.get_parts(shape)) for shape in shapes]
    return table_of(
        "areas",
        "Footprint, pad and disturbed ground",
        AREA_COLUMNS,
        rows,
        Places(_moved(plan, shapes, crs), "MultiPolygon", crs),
    )


def _moved(plan: GradingPlan, shapes: Sequence[shapely.Geometry], crs: pyproj.CRS) -> np.ndarray:
    return from_grid(np.array(shapes, object), plan.place.grid, crs)
