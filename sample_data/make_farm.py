"""Make the sample farm again: `python make_farm.py [FOLDER]` rewrites rasters, GeoPackages and `truths.json`.

The farm is invented. The random seed is fixed, so every run gives the same values.
"""

import json
import os
import sys
import tempfile
from pathlib import Path

import farm_layout as layout
import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import terrain_shapes as shapes
from rasterio.transform import from_origin
from shapely import LineString, Point, Polygon

SEED = 20_240_601
NODATA = -9999.0


def write_raster(path, heights):
    """Write heights [m] as a compressed float32 GeoTIFF with a declared nodata value."""
    east, south = layout.ORIGIN
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "width": heights.shape[1],
        "height": heights.shape[0],
        "crs": f"EPSG:{layout.EPSG}",
        "transform": from_origin(east, south + layout.SIDE_M, 1, 1),
        "nodata": NODATA,
        "compress": "deflate",
        "predictor": 2,
        "zlevel": 9,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    with rasterio.open(path, "w", **profile) as out:
        out.write(np.where(np.isnan(heights), NODATA, heights).astype("float32"), 1)
        out.set_band_unit(1, "m")
        out.update_tags(AREA_OR_POINT="Area")


def write_layer(path, records, columns):
    """Write one GeoPackage layer named like the file; a record is its column values, then its geometry."""
    table = {name: [record[place] for record in records] for place, name in enumerate(columns)}
    shapes_in_crs = [layout.to_crs_frame(record[-1]) for record in records]
    frame = gpd.GeoDataFrame(table, geometry=shapes_in_crs, crs=layout.EPSG)
    kinds = set(frame.geom_type)
    mixed = "MultiPolygon" if kinds == {"Polygon", "MultiPolygon"} else "Unknown" if len(kinds) > 1 else None
    frame.to_file(
        path,
        layer=path.stem,
        driver="GPKG",
        engine="pyogrio",
        geometry_type=mixed,
        promote_to_multi=mixed == "MultiPolygon",
        dataset_options={"VERSION": "1.3"},  # older programs warn of 1.4
    )


def obstacles():
    """Single trees, the hedge and the buildings, each with its height."""
    trees = [
        ("tree", top, radius, base, kind, None, Point(east, north))
        for east, north, top, radius, base, kind in layout.single_trees()
    ]
    line, top, width = layout.hedge()
    built = [(what, ridge, None, None, None, None, outline) for what, outline, ridge, _ in layout.buildings()]
    return [*trees, ("hedgerow", top, None, 0.0, "deciduous", width, line), *built]


def overhead_line():
    """Overhead power line along the road and across it to the yard; a pole stands at every vertex."""
    road = np.array(layout.road_line().coords)
    east = [0, 80, 160, 240, 320, 400, 476]
    verge = [(e, float(np.interp(e, road[:, 0], road[:, 1])) + 7) for e in east]
    return LineString([*verge, (478, 664)])


def layers():
    """Every vector layer: file stem -> (columns, records)."""
    line = overhead_line()
    pipe = LineString([(690, 1000), (745, 700), (905, 420), (985, 0)])
    rill_mouth = Point(layout.rill_line().coords[-1])
    wet = rill_mouth.buffer(62).intersection(layout.valley_floor(-4))
    lane = LineString([(548, 687), (540, 668), (520, 655), (480, 655), (475, 600)])
    field = Polygon([(486, 596), (510, 600), (507, 615), (483, 611)])
    return {
        "parcels": (("parcel", "use"), layout.parcels()),
        "structures": (("what",), [(what, outline) for what, outline, _, _ in layout.buildings()]),
        "obstacles": (("what", "height_m", "crown_radius_m", "crown_base_m", "kind", "width_m"), obstacles()),
        "wetland": (("what",), [("wet meadow", wet)]),
        "floodplain": (("what",), [("floodplain, invented", layout.valley_floor(6))]),
        "lines": (("what",), [("overhead power line", line), ("buried pipeline", pipe)]),
        "septic": (("what",), [("septic drain field", field)]),
        "water": (("what",), [("well", Point(508, 648)), ("yard tap", Point(432, 604))]),
        "power": (("what",), [("pole", Point(place)) for place in line.coords]),
        "road": (("what",), [("public road", layout.road_line()), ("farm lane", lane)]),
        "lamps": (
            ("what", "lumens", "height_m"),
            [
                ("yard lamp", 9000.0, 8.0, Point(470, 628)),
                ("porch lamp", 800.0, 2.5, Point(500, 625)),
                ("road lamp", 12000.0, 9.0, Point(550, 698)),
            ],
        ),
        "soils": (("drainage_class", "hydrologic_group"), layout.soils()),
    }


def spot(place):
    """A place in the local frame as easting, northing, lon and lat."""
    lon, lat = layout.lon_lat(place)
    easting, northing = place[0] + layout.ORIGIN[0], place[1] + layout.ORIGIN[1]
    return {"easting": round(easting, 3), "northing": round(northing, 3), "lon": round(lon, 7), "lat": round(lat, 7)}


def truths(ground, pond, flaws):
    """What was planted, for tests and readers to check answers against."""
    corners = [spot(corner) for corner in list(layout.terrace_outline().exterior.coords)[:4]]
    parcels = {name: outline for name, _, outline in layout.parcels()}
    return {
        "crs": f"EPSG:{layout.EPSG}",
        "grid_convergence_deg": round(layout.convergence_deg(layout.TERRACE_CENTRE), 4),
        "terrace": {
            "parcel": "Lark Bench",
            "centre": spot(layout.TERRACE_CENTRE),
            "bearing_deg": 90.0,
            "length_m": layout.TERRACE_SIZE_M[0],
            "width_m": layout.TERRACE_SIZE_M[1],
            "rise_to_true_east_pct": layout.TERRACE_RISE_PCT[0],
            "rise_to_true_north_pct": layout.TERRACE_RISE_PCT[1],
            "corners": corners,
        },
        "pond": {
            "parcel": "Pond Piece",
            "centre": spot(layout.POND_CENTRE),
            "level_m": float(ground[pond][0]),
            "bbox": [round(v, 2) for v in layout.to_crs_frame(layout.pond_outline()).bounds],
        },
        "hollow": {"parcel": "Upper Reach", "centre": spot(layout.HOLLOW_CENTRE)},
        "knoll": {"parcel": "Split Acre", "centre": spot(layout.KNOLL_CENTRE)},
        "culvert": {"centre": spot(layout.CULVERT), "note": "road bank dams the tributary in the terrain model"},
        "nodata_corner": "south-west",
        "too_narrow": {"parcel": "Ribbon", "width_m": layout.RIBBON_WIDTH_M},
        "multipart": {"parcel": "Split Acre", "parts": len(parcels["Split Acre"].geoms)},
        "with_hole": {"parcel": "Home Ring", "hole_m2": round(layout.farmyard().area, 2)},
        "steep": {"parcel": "Steepside"},
        "surface_below_ground_cells": {"count": len(flaws), "row_col": flaws.tolist()},
    }


def make(folder):
    """Build every file beside its place in `folder`, then move it there."""
    rng = np.random.default_rng(SEED)
    ground, pond = shapes.bare_ground(rng)
    top, flaws = shapes.surface(ground, pond, rng)
    # A fixed date and no space for a growing table keep the GeoPackages the same from run to run, and small.
    pyogrio.set_gdal_config_options(
        {"OGR_CURRENT_DATE": "2024-06-01T00:00:00.000Z", "OGR_SQLITE_PRAGMA": "page_size=1024"}
    )
    with tempfile.TemporaryDirectory(dir=folder, prefix=".making-") as made:
        made = Path(made)
        write_raster(made / "dem.tif", ground)
        write_raster(made / "surface.tif", top)
        for stem, (columns, records) in layers().items():
            write_layer(made / f"{stem}.gpkg", records, columns)
        facts = json.dumps(truths(ground, pond, flaws), indent=1)
        (made / "truths.json").write_text(facts + "\n", encoding="ascii")
        for path in sorted(made.iterdir()):
            os.replace(path, folder / path.name)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
