"""The fields of a screening's settings with their words: the one place where a setting is described."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AliasGenerator, BaseModel, ConfigDict, Field

from tunnelsite.core.house import RIDGE_M
from tunnelsite.core.units import FOOT_M
from tunnelsite.settings.circle import CircleWords
from tunnelsite.settings.kinds import (
    Angle,
    ByName,
    Choice,
    File,
    Flag,
    Length,
    Number,
    Output,
    Several,
    Share,
    Slope,
    Text,
    Turn,
    Whole,
    key_of,
)

GROUND, HOUSE, SEASON = "Ground and parcels", "House and ridge", "Season and light"
CLEAR, NEARBY, PAD = "What to stay clear of", "Services, soil and wind", "Pad"
MATTERS, ANSWER, OUTPUT = "What matters", "The answer", "Output"
SECTIONS = (GROUND, HOUSE, SEASON, CLEAR, NEARBY, PAD, MATTERS, ANSWER, OUTPUT)

MOST_BANDS = 65_535  # what a TIFF can hold
MOST_CANDIDATES = 10_000
TRADE_PITCH = 1.0 / 192.0  # 3/4 in per 12 ft: the finished tolerance; common practice, no source
Unit = Literal["m", "ft", "us-ft", "dm", "cm"]


class ScreeningFields(BaseModel):
    """Every setting of a screening; in a project file each stands under its option's name with `_` for `-`."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        populate_by_name=True,
        alias_generator=AliasGenerator(alias=key_of),
    )

    dem: Annotated[
        str | None,
        File("Ground", "Elevation raster of the bare ground (GeoTIFF, ESRI ASCII, BIL, SAGA).", GROUND, of="raster"),
    ] = None
    parcels: Annotated[
        str | None, File("Parcels", "Parcel polygons (GeoPackage, GeoJSON, Shapefile).", GROUND, of="features")
    ] = None
    around: Annotated[
        str | None,
        CircleWords("Around", "A circle in place of parcels, as 43.0124,-78.1502:400m.", GROUND, without="none", metavar="LAT,LON:RADIUS"),
    ] = None  # fmt: skip
    whole: Annotated[bool, Flag("Whole", "All of the ground raster in place of parcels.", GROUND)] = False
    drawn: Annotated[
        str | None,
        File("Drawn", "What was drawn on the map of the desk: fields, keep-outs, buildings, trees, services; added to the other files.",
             GROUND, without="nothing", of="features"),
    ] = None  # fmt: skip
    elevation_unit: Annotated[
        Unit | None,
        Choice("Unit of heights", "Unit of the heights of the ground and the surface, where the files do not say.", GROUND,
               without="as the file says, else assumed with a note"),
    ] = None  # fmt: skip
    dem_crs: Annotated[
        str | None,
        Text("Coordinate system", "Coordinate system of the ground where the file does not say, as EPSG:26917.", GROUND,
             without="as the file says", metavar="CRS"),
    ] = None  # fmt: skip
    band: Annotated[
        int | None,
        Whole("Band", "Band that holds the heights, where a raster has several.", GROUND, 1, MOST_BANDS, without="the only one"),
    ] = None  # fmt: skip
    zero_is_nodata: Annotated[bool, Flag("Zero is no data", "Heights of exactly 0 are voids.", GROUND)] = False
    cell_m: Annotated[
        float | None,
        Length("Working cell", "Side of the cells in which the ground is judged.", GROUND, 0.05, 1000, without="the ground's own"),
    ] = None  # fmt: skip
    halo_m: Annotated[
        float, Length("Land around", "Land round the parcels that is read for shade and water.", GROUND, 0, 50_000)
    ] = 1000.0
    far_dem: Annotated[
        str | None,
        File("Far ground", "Second, coarser elevation raster: carries the horizon beyond the land that the first is read for.",
             GROUND, without="none", of="raster"),
    ] = None  # fmt: skip
    far_reach_m: Annotated[
        float,
        Length("Reach of the far ground", "How far beyond that land the far ground counts.", GROUND, 100, 200_000),
    ] = 30_000.0
    far_elevation_unit: Annotated[
        Unit | None,
        Choice("Unit of far heights", "Unit of the far ground's heights, where its file does not say.", GROUND,
               without="as the file says, else assumed with a note"),
    ] = None  # fmt: skip
    elevation_error_m: Annotated[
        float | None,
        Length("Error of the heights", "Standard error of the ground's heights, from its metadata.", GROUND, 0, 50,
               without="assumed by its cells and roughness", was=("height-error",)),
    ] = None  # fmt: skip
    error_range_m: Annotated[
        float | None,
        Length("Range of that error", "Distance over which these errors are alike.", GROUND, 0, 10_000,
               without="5 m or a cell of the ground, assumed", was=("error-length",)),
    ] = None  # fmt: skip
    engine: Annotated[
        Literal["built-in", "richdem"],
        Choice(
            "Drainage computed by",
            "What fills the hollows and gathers the flow: the built-in kernels or richdem.",
            GROUND,
        ),
    ] = "built-in"

    house: Annotated[
        list[str],
        Several("Size", "Width by length, as 30x96ft or 9.1x29.3m; several sizes compete in one run.", HOUSE, metavar="WxL"),
    ] = Field(default_factory=lambda: ["30x96ft"])  # fmt: skip
    kind: Annotated[
        Literal["in-ground", "container"],
        Choice("Kind", "Crops in the field soil (in-ground) or in containers on a finished pad.", HOUSE),
    ] = "in-ground"
    ridge_m: Annotated[float, Length("Ridge height", "Height of the ridge above the ground.", HOUSE, 0.5, 30)] = RIDGE_M
    bearing_deg: Annotated[
        float, Angle("Ridge bearing", "Bearing of the ridge from TRUE north, as 75 or E-W.", HOUSE)
    ] = 90.0
    bearing_tolerance_deg: Annotated[
        float, Turn("Bearings either side", "Bearings up to this far either side are tried as well.", HOUSE)
    ] = 0.0
    bearing_step_deg: Annotated[
        float, Turn("Step between bearings", "Step between the bearings tried.", HOUSE, 0.5)
    ] = 5.0

    preset: Annotated[
        list[str],
        Several("Presets", "Settings for a season or a crop, as winter-north,snow-country; explicit options override the preset.", SEASON,
                metavar="NAMES", split=True),
    ] = Field(default_factory=list)  # fmt: skip
    crop_months: Annotated[
        str,
        Text("Crop months", "Part of the year with crops, as Oct:Apr or 10-01:04-30; it may wrap the year.", SEASON,
             without="all year", metavar="FIRST:LAST"),
    ] = "01-01:12-31"  # fmt: skip
    weather: Annotated[
        str | None,
        File(
            "Weather",
            "Weather file (EPW or TMY3) that supplies the beam irradiance.",
            SEASON,
            without="a clear sky",
            of="text",
        ),
    ] = None
    light_height_m: Annotated[
        float, Length("Height of the crop", "Height above the ground at which light is judged.", SEASON, 0, 30)
    ] = 1.0
    azimuths: Annotated[
        int, Whole("Directions of the horizon", "Directions in which the horizon is searched.", SEASON, 8, 720)
    ] = 36
    bare_trees: Annotated[
        str | None,
        Text("Trees are bare", "When deciduous trees are bare, as Nov:Apr, or never.", SEASON,
             without="by hemisphere; leaves fall by rain in the tropics", metavar="FIRST:LAST"),
    ] = None  # fmt: skip
    bare_transmission: Annotated[
        float, Share("Light through bare crowns", "Share of the beam that bare deciduous crowns pass.", SEASON)
    ] = 0.58

    surface: Annotated[
        str | None, File("Surface", "Raster of the ground plus what stands on it.", CLEAR, without="none", of="raster")
    ] = None
    obstacles: Annotated[
        str | None,
        File("Trees and buildings", "Points, lines, polygons with height_m: trees, tree lines, buildings. They cast shade.", CLEAR,
             without="none", of="features"),
    ] = None  # fmt: skip
    structures: Annotated[
        str | None, File("Structures", "Polygons to stay clear of.", CLEAR, without="none", of="features")
    ] = None
    clearance_m: Annotated[
        float,
        Length("Clearance", "Distance of the pad (house and apron) from structures.", CLEAR, 0, 1000),
    ] = 12 * FOOT_M
    keep_out: Annotated[
        list[str],
        Several("Keep out", "Where nothing may stand: wetland, floodplain, septic field, easement, buried and overhead lines; "
                "@DISTANCE keeps that far away.", CLEAR, metavar="FILE[@DISTANCE]", files=True),
    ] = Field(default_factory=list)  # fmt: skip
    setback_m: Annotated[
        float, Length("Setback", "Distance inward from each parcel's own boundary.", CLEAR, 0, 1000)
    ] = 0.0
    standing_limit_m: Annotated[
        float,
        Length("Tallest growth", "Ground on which something taller stands is no place for a house.", CLEAR, 0, 100),
    ] = 1.0
    keep_water_like: Annotated[
        bool,
        Flag("Water-like ground allowed", "Allow perfectly level patches and calm ones inside a rim, which look like water, and level, low "
             "ground where the data end, which may be a river's bed.", CLEAR),
    ] = False  # fmt: skip

    service: Annotated[
        dict[str, str],
        ByName("Services", "Points or lines of water, power, fuel, road ..., by name.", NEARBY, metavar="NAME=FILE", files=True),
    ] = Field(default_factory=dict)  # fmt: skip
    layer: Annotated[
        dict[str, str],
        ByName("Own layers", "Rasters and features of your own, by the name under which a criterion reads them; @UNIT states the unit of "
              "a raster, @classes that its numbers are classes.", NEARBY, metavar="NAME=FILE[@UNIT]", files=True),
    ] = Field(default_factory=dict)  # fmt: skip
    lamps: Annotated[
        str | None,
        File("Lamps", "Points with lumens and height_m: light at night.", NEARBY, without="none", of="features"),
    ] = None
    soils: Annotated[
        str | None, File("Soils", "Polygons with a drainage class.", NEARBY, without="none", of="features")
    ] = None
    wind: Annotated[
        str | None, File("Wind", "Weather file (EPW or TMY3) with wind.", NEARBY, without="none", of="text")
    ] = None
    wind_from_deg: Annotated[
        float | None,
        Angle("Prevailing wind", "Direction the wind comes from, as 280 or NW.", NEARBY, 0, 360, without="none"),
    ] = None

    apron_m: Annotated[float, Length("Apron", "Level apron of the pad round the footprint.", PAD, 0, 50)] = 4 * FOOT_M
    pad_pitch: Annotated[
        float,
        Slope("Pitch of the pad", "Steepest pitch of the finished pad, as 3/4 in per 12 ft or 0.5 %.", PAD),
    ] = TRADE_PITCH
    shrink: Annotated[
        float, Number("Shrink factor", "Cubic metres of cut that make one of compacted fill.", PAD, 1, 2)
    ] = 1.0

    price: Annotated[
        dict[str, str],
        ByName("Prices", "Your own unit prices: earthwork, topsoil, base, clearing, the trench to a service, the road.", MATTERS,
              metavar="NAME=AMOUNT/UNIT"),
    ] = Field(default_factory=dict)  # fmt: skip
    weight: Annotated[
        dict[str, float],
        ByName("Weights", "Weight of a criterion; 0 leaves it out.", MATTERS, metavar="CRITERION=NUMBER", value="number"),
    ] = Field(default_factory=dict)  # fmt: skip
    rubric: Annotated[
        dict[str, dict[str, Any]],
        ByName("Marks", "full_at, none_at, limit or weight of a criterion; limit none lifts the limit.", MATTERS,
              metavar="CRITERION.PART=NUMBER", parts=True),
    ] = Field(default_factory=dict)  # fmt: skip
    parameter: Annotated[
        dict[str, dict[str, Any]],
        ByName("Parameters", "A parameter of a criterion.", MATTERS, metavar="CRITERION.NAME=VALUE", parts=True),
    ] = Field(default_factory=dict)  # fmt: skip
    combine: Annotated[
        Literal["mean", "geometric", "lowest"],
        Choice("Marks become a score by", "How the marks of the criteria become one score.", MATTERS),
    ] = "mean"

    top: Annotated[int, Whole("Options", "Candidates kept.", ANSWER, 1, MOST_CANDIDATES)] = 20
    shift_m: Annotated[
        float,
        Length("Shift", "How far off its stakes the house may end up: scores hold for that; 0 = the exact place only.", ANSWER,
               0, 100),
    ] = 3.0  # fmt: skip
    apart_m: Annotated[
        float | None,
        Length("Apart", "Least distance between the centres of two options.", ANSWER, 0, 100_000, without="one house length"),
    ] = None  # fmt: skip
    per_parcel: Annotated[
        int | None,
        Whole("Options per parcel", "Most options in one parcel.", ANSWER, 1, MOST_CANDIDATES, without="any number"),
    ] = None
    draws: Annotated[
        int,
        Whole("Draws", "Random draws of weights and heights that tell how firm the ranking is.", ANSWER, 1, 100_000),
    ] = 200
    seed: Annotated[int, Whole("Seed", "The same seed gives the same draws.", ANSWER, 0, 2**63 - 1)] = 1

    out: Annotated[str | None, Output("Result", "GeoPackage to write.", OUTPUT, without="sites.gpkg")] = None
    rasters: Annotated[
        str | None,
        Output(
            "Rasters", "Folder into which every layer is written as COG, too.", OUTPUT, without="none", metavar="DIR"
        ),
    ] = None
    keep: Annotated[
        str | None,
        Output("Kept run", "File (.npz) that keeps every placement's measures for `tunnelsite rescore`.", OUTPUT, without="none"),
    ] = None  # fmt: skip
    overwrite: Annotated[bool, Flag("Overwrite", "Replace outputs that exist.", OUTPUT)] = False
