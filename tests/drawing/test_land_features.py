"""Names on maps that show a part of the land."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from types import SimpleNamespace

import numpy as np
import pyproj
import pytest
import shapely

from tunnelsite.core.grid import covering_grid, local_crs
from tunnelsite.core.site import Frame
from tunnelsite.drawing.farm_view import FarmView
from tunnelsite.drawing.land_features import furniture, names
from tunnelsite.drawing.svg import Drawing

SVG = "{http://www.w3.org/2000/svg}"


def named(shown: shapely.Geometry) -> dict[str, tuple[float, float]]:
    """Names on a map round a shape, with the middle of each as shares of the picture's width and height."""
    grid = covering_grid(local_crs(pyproj.CRS("EPSG:4326"), -78.0, 43.0), (-300.0, -100.0, 300.0, 100.0), 10.0, 90.0)
    parcels = np.array([shapely.box(-300, -90, 20, 90), shapely.box(25, -90, 60, 90), shapely.box(250, -20, 290, 20)])
    frame = Frame(grid, 0.0, {"ground": np.zeros(grid.shape)}, {}, parcels, ["Long", "Near", "Far"], -78.0, 43.0)
    view = FarmView.round(grid, [shown])
    drawing = Drawing(view.width, view.height, "Map", "Names")
    names(drawing, frame, view, [])
    found = re.findall(r'<text[^>]*? x="([^"]+)" y="([^"]+)"[^>]*>(\w+)<', drawing.text)
    return {name: (float(x) / view.width, float(y) / view.height) for x, y, name in found}


def test_a_parcel_beyond_the_picture_has_no_name_in_it() -> None:
    assert named(shapely.box(-20, -15, 40, 15)).keys() == {"Long", "Near"}
    assert named(shapely.box(-300, -90, 290, 90)).keys() == {"Long", "Near", "Far"}


def test_a_name_stands_on_the_part_that_is_seen() -> None:
    found = named(shapely.box(-20, -15, 40, 15))
    assert 0.15 < found["Long"][0] < 0.6 < found["Near"][0] < 0.95
    assert all(0.02 < y < 0.98 for _, y in found.values())


@pytest.mark.parametrize("width", [320.0, 620.0, 1000.0])
@pytest.mark.parametrize("scale", [0.37, 1.0, 4.4, 18.0])
@pytest.mark.parametrize("feet", [True, False])
def test_scale_bars_and_their_words_stay_on_their_ground(width: float, scale: float, feet: bool) -> None:
    """`200 ft` stood outside of the white box."""
    drawing = Drawing(width, 400.0, "map", "map")
    furniture(drawing, SimpleNamespace(width=width, height=400.0, scale=scale), feet=feet)
    root = ElementTree.fromstring(drawing.text)
    scale_bars = next(one for one in root.iter(f"{SVG}g") if "scale" in "".join(one.find(f"{SVG}title").itertext()))
    box = scale_bars.find(f"{SVG}rect")
    right = float(box.get("x")) + float(box.get("width"))
    for words in scale_bars.iter(f"{SVG}text"):
        assert float(words.get("x")) + 8.0 * len("".join(words.itertext())) <= right
