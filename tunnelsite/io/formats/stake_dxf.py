"""A stake-out sheet as a drawing."""

from __future__ import annotations

from tunnelsite.core.stake_sheet import StakeSheet
from tunnelsite.core.units import FOOT_M
from tunnelsite.io.formats.dxf import PLAIN, STAKE_COLOURS, DxfDrawing, dxf_bytes


def stake_dxf(sheet: StakeSheet) -> bytes:
    """The drawing: stakes as points with labels and cut or fill, footprint and pad as closed lines, a layer for each
    kind.

    Coordinates are those of the map's system in its own unit, heights too (in that unit); the drawing says so in a
    text. Errors: UsageError as `dxf_bytes`.
    """

    def draw(drawing: DxfDrawing) -> None:
        _outlines(drawing, sheet)
        _stakes(drawing, sheet)
        _notes(drawing, sheet)

    return dxf_bytes(sheet.crs, draw)


def _stakes(drawing: DxfDrawing, sheet: StakeSheet) -> None:
    for point in sheet.points:
        layer, colour = point.kind.upper(), STAKE_COLOURS.get(point.kind, PLAIN)
        place = (point.easting, point.northing)
        drawing.point(place, point.ground_m, layer, colour)
        words = point.label if point.cut_m is None else f"{point.label} {_cut(point.cut_m, sheet.feet)}"
        if point.kind != "post":  # a label every four feet would hide the drawing
            drawing.label(words, place, layer, colour)


def _outlines(drawing: DxfDrawing, sheet: StakeSheet) -> None:
    for kind, layer, colour in (("corner", "FOOTPRINT", 1), ("apron", "PAD", 3)):
        drawing.ring([(point.easting, point.northing) for point in sheet.of_kind(kind)], layer, colour)
    first, second, third, fourth = sheet.of_kind("corner")
    for one, other in ((first, third), (second, fourth)):
        drawing.segment((one.easting, one.northing), (other.easting, other.northing), "DIAGONALS", 8)


def _notes(drawing: DxfDrawing, sheet: StakeSheet) -> None:
    west = min(point.easting for point in sheet.points)
    south = min(point.northing for point in sheet.points)
    about = f"{sheet.house}; coordinates and heights in {drawing.unit} of {sheet.crs.name}; z = natural ground, 0 where unknown"
    drawing.notes([sheet.title, about, sheet.heights_words, *sheet.cautions], (west, south))


def _cut(cut_m: float, feet: bool) -> str:
    metres = f"{abs(cut_m):.3f} m"
    amount = f"{abs(cut_m) / FOOT_M:.2f} ft ({metres})" if feet else metres
    return f"{'C' if cut_m >= 0 else 'F'} {amount}"
