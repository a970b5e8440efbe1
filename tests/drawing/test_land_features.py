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
from tunnelsite.drawing.labels import square
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
    furniture(drawing, SimpleNamespace(width=width, height=400.0, scale=scale), [], feet=feet)
    root = ElementTree.fromstring(drawing.text)
    scale_bars = next(one for one in root.iter(f"{SVG}g") if "scale" in "".join(one.find(f"{SVG}title").itertext()))
    box = scale_bars.find(f"{SVG}rect")
    right = float(box.get("x")) + float(box.get("width"))
    for words in scale_bars.iter(f"{SVG}text"):
        assert float(words.get("x")) + 8.0 * len("".join(words.itertext())) <= right


def test_a_name_stands_clear_of_houses_and_pins_and_inside_its_own_edge() -> None:
    """A row of pins below the parcel's upper edge, which is not level: the name goes under them, not over the edge."""
    grid = covering_grid(local_crs(pyproj.CRS("EPSG:4326"), -78.0, 43.0), (-300.0, -100.0, 300.0, 100.0), 10.0, 90.0)
    parcel = shapely.Polygon([(-280, 70), (280, 90), (280, -80), (-280, -80)])
    frame = Frame(grid, 0.0, {"ground": np.zeros(grid.shape)}, {}, np.array([parcel], object), ["Bench"], -78.0, 43.0)
    view = FarmView.round(grid, [parcel])
    pins = [square(x, y, 16) for x in np.arange(60, view.width - 40, 20) for y in (70.0, 90.0)]
    for marks in ([], pins):
        drawing = Drawing(view.width, view.height, "Map", "Names")
        labels = names(drawing, frame, view, marks)
        name = labels.taken[-1]
        assert labels.clear(0, 0, 1, 1) and all(
            name.right <= box.left or box.right <= name.left or name.bottom <= box.top or box.bottom <= name.top
            for box in labels.taken[:-1]
        )
        edge = view.points(np.array([[-280.0, 70.0], [280.0, 90.0]]))
        middle = (name.left + name.right) / 2
        assert name.top > np.interp(middle, edge[:, 0], edge[:, 1]) - 1 and name.bottom < view.height


def test_the_scale_stands_where_it_hides_no_pin() -> None:
    """On real land the pin of option 3 lay under the white box at the bottom."""
    view = SimpleNamespace(width=620.0, height=400.0, scale=1.0)
    for pins, top in (([], 336.0), ([square(60, 370, 15)], 8.0), ([square(60, 30, 15)], 336.0)):
        drawing = Drawing(620.0, 400.0, "map", "map")
        furniture(drawing, view, pins, feet=True)
        assert f'y="{top:g}"' in drawing.text.split("scale")[1].split("<path")[0], pins
