"""Where a raster lies and in which unit its heights are, from what the file says and what the user says."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pyproj
import rasterio
from affine import loadsw
from pyproj.exceptions import CRSError

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import STATED, Affine
from tunnelsite.core.units import VERTICAL_UNIT_WORDS, VERTICAL_UNITS_M
from tunnelsite.io.plain_names import parts_beside
from tunnelsite.io.read.files import head, sha256

_WORLD_FILES = (".tfw", ".tifw", ".tiffw", ".wld")
_UNIT_NAMES = {
    "m": ("m", "metre", "metres", "meter", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "international feet", "foot (international)"),
    "us-ft": (
        "us-ft", "ftus", "foot_us", "us ft", "us foot", "us feet", "us survey foot", "us survey feet",
        "u.s. survey foot",
        "u.s. survey feet", "survey foot", "survey feet", "sft",
    ),
    "dm": ("dm", "decimetre", "decimetres", "decimeter", "decimeters"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
}  # fmt: skip


@dataclass(frozen=True)
class Georeferencing:
    """Coordinate system as found (with its vertical part), its vertical unit or ``, the affine, and notes."""

    crs: pyproj.CRS
    vertical_unit: str
    affine: tuple[float, float, float, float, float, float]
    notes: tuple[str, ...] = ()


def georeferencing(source: rasterio.DatasetReader, path: Path, option: str, crs: str | None) -> Georeferencing:
    """Place and coordinate system of an open raster; `crs` stands above the file's own.

    Errors: InputRefused if either is missing or unusable; UsageError if `crs` is no coordinate system.
    """
    notes: list[str] = []
    affine = _affine(source, path, option, notes)
    own = _own_crs(source, path, option)
    if crs is not None:
        used = _stated_crs(crs, option)
        if own is not None and not own.equals(used, ignore_axis_order=True):
            notes.append(f"coordinate system {used.name!r} used as stated, although the file says {own.name!r}")
        elif own is None:
            notes.append(f"coordinate system {used.name!r} used as stated; the file has none")
    elif own is not None:
        used = own
    else:
        raise InputRefused(
            f"{option}: {path.name!r} has no coordinate system",
            "one in the file (GeoTIFF keys, or a .prj beside an ASCII grid); it is never guessed",
            f"state it as an EPSG code such as EPSG:26915 ({crs_words(option)})",
        )
    for ending, file in parts_beside(path, source.driver).items():
        if ending != ".prj" or crs is None:
            what = "coordinate system" if ending == ".prj" else "rows, columns and place"
            notes.append(f"{what} taken from {file.name!r}, SHA-256 {sha256(file)}")
    return Georeferencing(used, vertical_unit(used, path.name, option), affine, (*notes, *_unused_sidecars(path)))


def crs_words(option: str) -> str:
    """How a coordinate system is stated of a raster that was given by an option: of the DEM and the surface there is an option for it."""
    stated = option in ("DEM", "--dem", "--surface")
    return "--dem-crs EPSG:xxxx" if stated else "write it into the file: gdal_edit.py -a_srs EPSG:xxxx FILE"


def unit_used(in_crs: str, written: str, given: str | None, where: str, writer: str = "its band") -> tuple[str, str]:
    """The vertical unit that holds, and a note on it: what the user says, else the coordinate system, else
    the band, else metres.

    Arguments: in_crs, the unit in the coordinate system (`m`, `ft`, `us-ft` or ``); written, the band's unit as
        it is written; given by the user or None; where and writer [words] for messages.
    Errors: UsageError for a unit that is not known.
    """
    in_band = unit_named(written)
    if given is not None and given not in VERTICAL_UNITS_M:
        raise UsageError(f"{where}: vertical unit is {given!r}", VERTICAL_UNIT_WORDS, "choose one of these")
    if given is None and written and not in_band and not in_crs:
        raise UsageError(
            f"{where}: the heights are in {written!r}",
            VERTICAL_UNIT_WORDS,
            "state the unit, or convert the heights",
        )
    said = {"its coordinate system": in_crs, writer: in_band}
    unit = given or in_crs or in_band or "m"
    against = [f"{who} says {other}" for who, other in said.items() if other and other != unit]
    although = f", although {' and '.join(against)}" if against else ""
    if given:
        return unit, f"heights taken as {unit}{STATED}{although}"
    if in_crs or in_band:
        return unit, f"heights are in {unit} by {'its coordinate system' if in_crs else writer}{although}"
    return unit, "heights taken as m: the file does not say (assumed metres)"


def unit_named(text: str) -> str:
    """`m`, `ft`, `us-ft`, or `` for a unit written in any usual way."""
    plain = " ".join(text.strip().lower().replace("_", " ").split())
    return next(
        (unit for unit, names in _UNIT_NAMES.items() if plain in names or plain.replace(" ", "_") in names),
        "",
    )


def _affine(source: rasterio.DatasetReader, path: Path, option: str, notes: list[str]) -> Affine:
    affine = source.transform
    if affine.is_identity:  # rasterio's word for "no place given"
        world = next((path.with_suffix(part) for part in _WORLD_FILES if path.with_suffix(part).exists()), None)
        if world is None:
            raise InputRefused(
                f"{option}: {path.name!r} does not say where it lies",
                "a georeferenced raster",
                "export it with its georeferencing",
            )
        try:
            affine = loadsw(head(world, option, 4096).decode("ascii"))
        except (ValueError, TypeError):
            raise InputRefused(
                f"{option}: {world.name!r} is no world file", "six numbers, one a line", "export it again"
            ) from None
        notes.append(f"place taken from {world.name!r}, SHA-256 {sha256(world)}")
    values = tuple(affine)[:6]
    a, b, _, d, e, _ = values
    area = a * e - b * d
    if not all(map(math.isfinite, values)) or not math.isfinite(area) or area == 0:
        raise InputRefused(
            f"{option}: {path.name!r} has the geotransform {tuple(float(value) for value in values)}",
            "finite numbers and cells that are not 0 wide or high",
            "export it again with its georeferencing",
        )
    return float(a), float(b), float(values[2]), float(d), float(e), float(values[5])


def _own_crs(source: rasterio.DatasetReader, path: Path, option: str) -> pyproj.CRS | None:
    if not source.crs:
        return None
    try:
        return pyproj.CRS.from_wkt(source.crs.to_wkt(version="WKT2_2019"))
    except (CRSError, rasterio.errors.CRSError):
        pass
    try:
        return pyproj.CRS.from_wkt(source.crs.to_wkt())
    except CRSError as error:
        raise InputRefused(
            f"{option}: the coordinate system of {path.name!r} cannot be understood ({error})",
            "a coordinate system PROJ knows",
            f"state it as an EPSG code ({crs_words(option)})",
        ) from None


def _stated_crs(text: str, option: str) -> pyproj.CRS:
    try:
        return pyproj.CRS.from_user_input(text)
    except CRSError:
        raise UsageError(
            f"{option}: coordinate system is {str(text)!r}",
            "an EPSG code such as EPSG:26915, or WKT",
            "look the code up",
        ) from None


def vertical_unit(crs: pyproj.CRS, name: str, option: str) -> str:
    """The unit of the vertical axis of a compound or three-dimensional coordinate system, or ``.

    Arguments: name of the raster and its option, for messages. Errors: InputRefused for depths and for other units.
    """
    axes = crs.axis_info if len(crs.axis_info) == 3 else []
    if not axes:
        return ""
    axis = axes[2]
    if axis.direction.lower() == "down":
        raise InputRefused(
            f"{option}: {name!r} holds depths (its vertical axis points down)",
            "heights",
            "turn them into heights first",
        )
    for unit, factor in VERTICAL_UNITS_M.items():
        if math.isclose(axis.unit_conversion_factor, factor, rel_tol=1e-9):
            return unit
    raise InputRefused(
        f"{option}: the heights of {name!r} are in {axis.unit_name!r}",
        "metres or feet",
        "convert the heights to metres first",
    )


def _unused_sidecars(path: Path) -> list[str]:
    """Notes on files beside the raster that other programs would let change it."""
    notes = []
    if (settings := Path(f"{path}.aux.xml")).is_file():
        content = head(settings, path.name, 1 << 20)
        changes = {
            b"<SRS": "coordinate system",
            b"<GeoTransform": "place",
            b"<NoDataValue": "no-data value",
            b"<Scale>": "scale",
        }
        if said := [words for mark, words in changes.items() if mark in content]:
            notes.append(f"{settings.name!r} beside it states a {' and '.join(said)}: not used")
    if (mask := Path(f"{path}.msk")).is_file():
        notes.append(f"{mask.name!r} beside it holds a mask: not used")
    return notes
