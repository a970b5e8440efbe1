"""Drawings as text DXF of release 12, the plainest that every drawing program reads, in the coordinate system of a map."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pyproj

from tunnelsite.core.errors import UsageError

if TYPE_CHECKING:
    from ezdxf.addons.r12writer import R12FastStreamWriter

# Colour index of the drawing standard (1 red, 2 yellow, 3 green, 4 cyan, 5 blue, 6 magenta, 7 black or white, 8 grey).
PLAIN = 7
STAKE_COLOURS = {"corner": 1, "offset": 5, "apron": 3, "grid": 8, "post": 7, "board": 6, "square": 4, "bench": 2}
_TEXT_M = 0.3
_NOTE_LETTERS = 100  # of a line of the notes; release 12 ends every text at 255
_NAME_LETTERS = 31  # of a layer in release 12
_STYLES = "  0\nTABLE\n  2\nSTYLE\n"  # before it, since a layer names a line type and nothing names a layer before the entities


class DxfDrawing:
    """A drawing that is being made; `dxf_bytes` gives it to the function that draws.

    Coordinates are easting and northing in the unit of the map's system, heights in metres; a layer is a name in ASCII, a colour an
    index of the standard. Attributes: unit_m, metres per unit. unit, its name. text_height, of a label [unit].
    """

    def __init__(self, writer: R12FastStreamWriter, crs: pyproj.CRS) -> None:
        self._writer = writer
        self.unit_m = crs.axis_info[0].unit_conversion_factor
        self.unit = crs.axis_info[0].unit_name
        self.text_height = _TEXT_M / self.unit_m

    def point(self, place: tuple[float, float], height_m: float | None, layer: str, colour: int) -> None:
        """A point; where its height is not known, z is 0."""
        self._writer.add_point((*place, self._z(height_m)), layer=layer, color=colour)

    def label(self, words: str, place: tuple[float, float], layer: str, colour: int) -> None:
        """Words up and right of a place, on the layer of texts that belongs to `layer`."""
        beside = (place[0] + self.text_height / 2, place[1] + self.text_height / 2)
        self.text(words, beside, f"{layer}_TEXT"[:_NAME_LETTERS], colour)

    def text(self, words: str, place: tuple[float, float], layer: str, colour: int = PLAIN, times: float = 1) -> None:
        """One line of words that starts at a place, `times` as high as a label."""
        self._writer.add_text(plain(words), insert=place, height=times * self.text_height, layer=layer, color=colour)

    def ring(self, corners: Sequence[tuple[float, float]], layer: str, colour: int) -> None:
        """A closed line; the first corner is not repeated."""
        self._writer.add_polyline_2d(list(corners), closed=True, layer=layer, color=colour)

    def line(self, places: Iterable[tuple[float, float]], level_m: float | None, layer: str, colour: int) -> None:
        """A line at one level."""
        z = self._z(level_m)
        self._writer.add_polyline([(east, north, z) for east, north in places], layer=layer, color=colour)

    def segment(self, start: tuple[float, float], end: tuple[float, float], layer: str, colour: int) -> None:
        """A straight line between two places."""
        self._writer.add_line(start, end, layer=layer, color=colour)

    def notes(self, lines: Sequence[str], corner: tuple[float, float], times: float = 1) -> None:
        """Lines of words below a corner (the south-west one of what is drawn), `times` as high as a label."""
        step = 2 * times * self.text_height
        parts = (part for words in lines for part in textwrap.wrap(words, _NOTE_LETTERS))
        for number, words in enumerate(parts, 2):
            self.text(words, (corner[0], corner[1] - number * step), "NOTES", times=times)

    def _z(self, height_m: float | None) -> float:
        return 0.0 if height_m is None else height_m / self.unit_m


def dxf_bytes(crs: pyproj.CRS, draw: Callable[[DxfDrawing], None]) -> bytes:
    """The drawing that `draw` makes.

    Errors: UsageError if `crs` is geographic (a drawing needs lengths), or if the library for DXF is not installed.
    """
    try:
        from ezdxf.addons.r12writer import r12writer  # optional extra: only DXF needs it
    except ImportError as error:
        raise UsageError(
            "a drawing (dxf) was asked for, but the package ezdxf is not installed", "the optional extra dxf",
            "pip install ezdxf, or leave dxf out",
        ) from error  # fmt: skip
    if not crs.is_projected:
        raise UsageError(
            f"a drawing (dxf) in {crs.name}, in degrees",
            "a projected system",
            "choose GeoJSON, or reproject the parcels",
        )
    stream = io.StringIO()
    with r12writer(stream, fixed_tables=True) as writer:
        draw(DxfDrawing(writer, crs))
    return with_layer_table(stream.getvalue()).encode("ascii")


def check_dxf(path: Path) -> None:
    """Errors: OSError unless the drawing's own library reads it and finds no fault."""
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    try:
        audit = readfile(path).audit()
    except (DXFError, ValueError) as error:
        raise OSError(f"read back, the drawing cannot be read ({error})") from error
    if audit.has_errors:
        raise OSError(f"read back, the drawing has faults: {audit.errors[0].message}")


def plain(words: str) -> str:
    """Text that cannot break out of its line: no control characters, none of the codes that start with %%, release
    12's ASCII."""
    line = "".join(letter if letter.isprintable() else " " for letter in words).replace("%%", "% %")
    return "".join(
        letter if " " <= letter <= "~" else f"\\U+{ord(letter):04X}" for letter in line if ord(letter) < 0x10000
    )[:250]


def layer_name(*parts: str | None) -> str:
    """The parts as the name of a layer in release 12: capital letters, digits and underscores, 31 at most."""
    name = "_".join(part.upper() for part in parts if part)
    letters = (letter if letter.isascii() and letter.isalnum() else "_" for letter in name)
    return "".join(letters)[:_NAME_LETTERS]


def with_layer_table(drawing: str) -> str:
    """The drawing with a table of the layers that its entities name, each in the colour of its first entity.

    Release 12 draws without one, but programs then show every layer white or not at all. Arguments: drawing, text of
    `ezdxf.addons.r12writer` with its fixed tables. Errors: ValueError where those are missing.
    """
    head, mark, entities = drawing.partition("SECTION\n2\nENTITIES\n")
    if not mark or _STYLES not in head:
        raise ValueError("the drawing has no table of text styles or no entities")
    layers = _layers(entities)
    rows = "".join(
        f"  0\nLAYER\n  2\n{name}\n 70\n0\n 62\n{colour}\n  6\nCONTINUOUS\n" for name, colour in layers.items()
    )
    table = f"  0\nTABLE\n  2\nLAYER\n 70\n{len(layers)}\n{rows}  0\nENDTAB\n"
    return head.replace(_STYLES, table + _STYLES, 1) + mark + entities


def _layers(entities: str) -> dict[str, str]:
    """Colour by layer: group 8 is an entity's layer, the group 62 that follows it its colour; a text (group 1) is no code."""
    lines = entities.split("\n")
    found: dict[str, str] = {}
    layer = ""
    for code, value in zip(lines[::2], lines[1::2], strict=False):
        if code.strip() == "8":
            layer = value
            found.setdefault(layer, "7")
        elif code.strip() == "62" and found.get(layer) == "7":
            found[layer] = value
    return found
