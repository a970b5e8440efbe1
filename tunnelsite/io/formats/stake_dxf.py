"""A stake-out sheet as a drawing: text DXF of AutoCAD release 12, the plainest that every drawing program reads."""

from __future__ import annotations

import io

from tunnelsite.core.errors import UsageError
from tunnelsite.core.stake_sheet import StakeSheet
from tunnelsite.core.units import FOOT_M
from tunnelsite.io.formats.dxf_layers import with_layer_table

# Colour index of the drawing standard (1 red, 2 yellow, 3 green, 4 cyan, 5 blue, 6 magenta, 7 black or white, 8 grey).
COLOURS = {"corner": 1, "offset": 5, "apron": 3, "grid": 8, "post": 7, "board": 6, "square": 4, "bench": 2}
TEXT_M = 0.3


def dxf_text(sheet: StakeSheet) -> bytes:
    """The drawing: stakes as points with labels and cut or fill, footprint and pad as closed lines, a layer for each
    kind.

    Coordinates are those of the map's system in its own unit, heights too (in that unit); the drawing says so in a
    text.
    Errors: UsageError if the system is geographic (a drawing needs lengths), or if the library for DXF is not
    installed.
    """
    try:
        from ezdxf.addons.r12writer import r12writer  # optional extra: only DXF needs it
    except ImportError as error:
        raise UsageError(
            "DXF was asked for, but the package ezdxf is not installed", "the optional extra dxf",
            "pip install ezdxf, or leave the drawing out",
        ) from error  # fmt: skip
    if not sheet.crs.is_projected:
        raise UsageError(
            f"DXF in {sheet.crs.name}, in degrees",
            "parcels in a projected system",
            "choose GeoJSON, or reproject the parcels",
        )
    unit_m = sheet.crs.axis_info[0].unit_conversion_factor
    stream = io.StringIO()
    with r12writer(stream, fixed_tables=True) as writer:
        _outlines(writer, sheet)
        _stakes(writer, sheet, TEXT_M / unit_m, unit_m)
        _notes(writer, sheet, TEXT_M / unit_m)
    return with_layer_table(stream.getvalue()).encode("ascii")


def _stakes(writer, sheet: StakeSheet, height: float, unit_m: float) -> None:
    for point in sheet.points:
        layer, colour = point.kind.upper(), COLOURS.get(point.kind, 7)
        z = 0.0 if point.ground_m is None else point.ground_m / unit_m
        writer.add_point((point.easting, point.northing, z), layer=layer, color=colour)
        words = point.label if point.cut_m is None else f"{point.label} {_cut(point.cut_m, sheet.feet)}"
        if point.kind != "post":  # a label every four feet would hide the drawing
            place = (point.easting + height / 2, point.northing + height / 2)
            writer.add_text(plain(words), insert=place, height=height, layer=f"{layer}_TEXT", color=colour)


def _outlines(writer, sheet: StakeSheet) -> None:
    for kind, layer, colour in (("corner", "FOOTPRINT", 1), ("apron", "PAD", 3)):
        ring = [(point.easting, point.northing) for point in sheet.of_kind(kind)]
        writer.add_polyline_2d(ring, closed=True, layer=layer, color=colour)
    first, second, third, fourth = sheet.of_kind("corner")
    for one, other in ((first, third), (second, fourth)):
        ends = ((one.easting, one.northing), (other.easting, other.northing))
        writer.add_line(*ends, layer="DIAGONALS", color=8)


def _notes(writer, sheet: StakeSheet, height: float) -> None:
    west = min(point.easting for point in sheet.points)
    south = min(point.northing for point in sheet.points)
    unit = sheet.crs.axis_info[0].unit_name
    lines = [
        sheet.title,
        f"{sheet.house}; coordinates and heights in {unit} of {sheet.crs.name}; z = natural ground, 0 where unknown",
        sheet.heights_words,
        *sheet.cautions,
    ]
    for k, line in enumerate(lines):
        place = (west, south - (k + 2) * 2 * height)
        writer.add_text(plain(line), insert=place, height=height, layer="NOTES", color=7)


def _cut(cut_m: float, feet: bool) -> str:
    metres = f"{abs(cut_m):.3f} m"
    amount = f"{abs(cut_m) / FOOT_M:.2f} ft ({metres})" if feet else metres
    return f"{'C' if cut_m >= 0 else 'F'} {amount}"


def plain(words: str) -> str:
    """Text that cannot break out of its line: no control characters, none of the codes that start with %%, release
    12's ASCII."""
    line = "".join(letter if letter.isprintable() else " " for letter in words).replace("%%", "% %")
    return "".join(
        letter if " " <= letter <= "~" else f"\\U+{ord(letter):04X}" for letter in line if ord(letter) < 0x10000
    )[:250]
