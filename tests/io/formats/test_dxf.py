"""A drawing names its layers, each with a colour, as its own library reads them."""

from __future__ import annotations

import io

import ezdxf
import pytest
from ezdxf.addons.r12writer import r12writer

from tunnelsite.io.formats.dxf import with_layer_table


def drawn() -> str:
    stream = io.StringIO()
    with r12writer(stream, fixed_tables=True) as writer:
        writer.add_point((1, 2, 3), layer="CORNER", color=1)
        writer.add_text("8\\P62", insert=(0, 0), height=1, layer="CORNER_TEXT", color=5)
        writer.add_polyline_2d([(0, 0), (1, 0), (1, 1)], closed=True, layer="PAD", color=3)
        writer.add_line((0, 0), (1, 1), layer="PAD", color=8)
    return stream.getvalue()


def test_layers_and_colours() -> None:
    drawing = ezdxf.read(io.StringIO(with_layer_table(drawn())))
    colours = {layer.dxf.name: layer.dxf.color for layer in drawing.layers}
    assert {name: colours[name] for name in ("CORNER", "CORNER_TEXT", "PAD")} == {
        "CORNER": 1,
        "CORNER_TEXT": 5,
        "PAD": 3,
    }
    assert not drawing.audit().has_errors and len(drawing.modelspace()) == 4


def test_other_text_is_refused() -> None:
    with pytest.raises(ValueError, match="no table"):
        with_layer_table("  0\nEOF\n")
