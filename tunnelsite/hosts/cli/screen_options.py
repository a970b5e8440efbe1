"""Options that every command about a site shares, as data."""

from __future__ import annotations

# option, metavar, help; each may stand in a project file under the same name with `_` for `-`.
SCREEN_OPTIONS = (
    ("--out", "FILE", "GeoPackage to write (default sites.gpkg)"),
    ("--preset", "NAMES", "settings for a season or crop, as winter-north,snow-country; what is given besides wins"),
    ("--kind", "KIND", "in-ground or container (default in-ground)"),
    ("--ridge", "LENGTH", "ridge height (default 12ft)"),
    ("--crop-months", "FIRST:LAST", "part of the year with crops, as Oct:Apr or 10-01:04-30; default all year"),
    ("--bearing", "DEG", "ridge bearing from TRUE north, as 75 or E-W (default 90)"),
    ("--bearing-tolerance", "DEG", "also try bearings this far either side (default 0)"),
    ("--bearing-step", "DEG", "step between bearings (default 5)"),
    (
        "--far-dem",
        "FILE",
        "second, coarser DEM: carries the far horizon beyond the land that the first one is read for",
    ),
    ("--far-reach", "LENGTH", "how far beyond that the far DEM counts (default 30000m)"),
    ("--drawn", "FILE", "what was drawn on the map of the desk; added to the other files"),
    ("--surface", "FILE", "raster of the ground plus what stands on it"),
    ("--obstacles", "FILE", "points, lines, polygons with height_m: trees, tree lines, buildings"),
    ("--structures", "FILE", "polygons to stay clear of"),
    ("--clearance", "LENGTH", "distance of the pad (house and apron) from structures (default 12ft)"),
    ("--setback", "LENGTH", "inward from each parcel's own boundary (default 0)"),
    ("--lamps", "FILE", "points with lumens and height_m"),
    ("--soils", "FILE", "polygons with a drainage class"),
    ("--weather", "FILE", "weather file (EPW or TMY3) whose beam weighs the light; default: a clear sky"),
    (
        "--bare-trees",
        "FIRST:LAST",
        "when deciduous trees are bare, or never (default: by hemisphere; leaves fall by rain in the tropics)",
    ),
    ("--bare-transmission", "SHARE", "share of the beam that bare deciduous crowns pass (default 0.58)"),
    ("--wind", "FILE", "weather file with wind"),
    ("--wind-from", "DEG", "direction the wind comes from, as 280 or NW"),
    (
        "--elevation-unit",
        "UNIT",
        "m, ft, us-ft, dm or cm: unit of the DEM's and the surface's heights, where they do not say",
    ),
    ("--far-elevation-unit", "UNIT", "the same for the far DEM"),
    ("--dem-crs", "CRS", "coordinate system of the DEM where the file does not say, as EPSG:26917"),
    ("--band", "NUMBER", "band that holds the heights, where there are several"),
    ("--cell", "LENGTH", "working cell (default: the DEM's own)"),
    (
        "--elevation-error",
        "LENGTH",
        "standard error of the DEM's heights (default: assumed by its cells and roughness)",
    ),
    (
        "--error-range",
        "LENGTH",
        "distance over which these errors are alike (default 5m or a cell of the DEM, assumed)",
    ),
    ("--halo", "LENGTH", "land round the parcels that is read for shade and water (default 1000m)"),
    ("--apron", "LENGTH", "level apron of the pad round the footprint (default 4ft)"),
    ("--shrink", "NUMBER", "cut needed for each m3 of compacted fill (default 1)"),
    ("--engine", "WHICH", "what fills hollows and gathers flow: built-in or richdem (default built-in)"),
    ("--azimuths", "NUMBER", "directions of the horizon (default 36)"),
    ("--combine", "WAY", "how marks become a score: mean, geometric or lowest (default mean)"),
    ("--top", "NUMBER", "candidates kept (default 20)"),
    (
        "--shift",
        "LENGTH",
        "how far off its stakes the house may end up: scores hold for that (default 3m; 0 = the exact place only)",
    ),
    ("--apart", "LENGTH", "least distance between the centres of two options (default one house length)"),
    ("--per-parcel", "NUMBER", "most options in one parcel (default any number)"),
    ("--keep", "FILE", "also keep every placement's measures (.npz) for `tunnelsite rescore`"),
    ("--rasters", "DIR", "also write every layer as COG into this folder"),
)


SITE_OPTIONS = (
    "--crop-months", "--far-dem", "--far-reach", "--far-elevation-unit", "--surface", "--obstacles", "--bare-trees", "--bare-transmission",
    "--drawn", "--ridge", "--bearing", "--elevation-unit", "--dem-crs", "--band", "--cell", "--halo",
)  # fmt: skip

# What the commands that go on from a screening may change; the rest is taken from its run table.
STAKEOUT_OPTIONS = ("--elevation-unit", "--dem-crs", "--band", "--cell", "--apron", "--shrink")
GRADING_OPTIONS = (*STAKEOUT_OPTIONS, "--drawn", "--halo", "--structures", "--clearance", "--setback")
