"""Pieces of the report that stand alone: amounts, thinned pictures, the view of a turned grid, rasters as PNG, words of measures."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
import shapely
from PIL import Image

from tunnelsite.core import amounts
from tunnelsite.core.grid import Grid
from tunnelsite.drawing.farm_view import FarmView
from tunnelsite.drawing.outcome_groups import score_edges
from tunnelsite.drawing.thinned import short_svg
from tunnelsite.io.write.picture_png import png_bytes


@pytest.mark.parametrize(
    ("words", "feet", "metric"),
    [
        (lambda feet: amounts.size(9.144, feet=feet), "30 ft (9.14 m)", "9.14 m (30 ft)"),
        (lambda feet: amounts.away(40.0, feet=feet), "131 ft (40 m)", "40 m (131 ft)"),
        (lambda feet: amounts.away(1.0, feet=feet), "3 ft 3 in (1.0 m)", "1.0 m (3 ft 3 in)"),
        (lambda feet: amounts.depth(0.0254, feet=feet), "1 in (3 cm)", "3 cm (1 in)"),
        (lambda feet: amounts.volume(7.645548, feet=feet), "10.0 yd³ (7.6 m³)", "7.6 m³ (10.0 yd³)"),
        (lambda feet: amounts.land(4046.856, feet=feet), "1 acre (4,047 m²)", "4,047 m² (1 acre)"),
        (lambda feet: amounts.land(92.90304, feet=feet), "1,000 sq ft (93 m²)", "93 m² (1,000 sq ft)"),
        (lambda feet: amounts.drop(0.5, 29.2608, feet=feet), "5 3/4 in (15 cm)", "15 cm (5 3/4 in)"),
    ],
)
def test_amounts_in_both_systems(words, feet, metric) -> None:
    """Foot, yard and acre are exact by definition (international foot 1959; acre = 43 560 square feet)."""
    assert words(True) == feet and words(False) == metric


def test_thinned_lines_stay_within_what_no_eye_sees() -> None:
    numbers = np.random.default_rng(4)
    line = np.column_stack([np.linspace(0, 900, 2000), 300 + np.cumsum(numbers.normal(0, 0.3, 2000))])
    ring = np.column_stack([200 + 90 * np.cos(np.linspace(0, 6.2, 400)), 200 + 90 * np.sin(np.linspace(0, 6.2, 400))])
    written = ["M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in part) for part in (line, ring)]
    svg = f'<svg><path d="{written[0]}"/><path d="{written[1]}Z{written[0]}"/><path d="M0 -20L7 14L0 8Z" id="a"/><path d="m1 2h3z"/></svg>'
    thin = short_svg(svg)
    assert len(thin) < 0.4 * len(svg) and 'd="m1 2h3z"' in thin and 'id="a"' in thin
    first, second, third, _ = re.findall(r' d="([^"]*)"', thin)
    for path, wanted, closed in ((first, line, False), (second.split("Z")[0] + "Z", ring, True)):
        assert path.endswith("Z") is closed
        start, _, steps = path.rstrip("Z")[1:].partition("l")
        points = np.cumsum(np.array([start.split(), *np.array(steps.split()).reshape(-1, 2)], float), axis=0)
        points = np.vstack([points, points[:1]]) if closed else points
        wanted = np.vstack([wanted, wanted[:1]]) if closed else wanted
        assert shapely.hausdorff_distance(shapely.linestrings(points), shapely.linestrings(wanted)) < 0.25 + 0.08
    assert third == "M0 -20l7 34 -7 -6Z"


@pytest.mark.parametrize("bearing", [90.0, 60.0, 135.0, 0.0])
@pytest.mark.parametrize("every", [1, 3])
def test_rasters_and_vectors_meet_on_the_map_whatever_the_bearing(bearing, every) -> None:
    """The middle of an image's pixel falls where the centre of its cell does."""
    grid = Grid("", 2.0, 80, 120, -100.0, 90.0, bearing)
    view = FarmView.round(grid, [shapely.box(-60, -30, 50, 40)])
    top, left = 6, 9
    numbers = [float(part) for part in view.raster_matrix(grid, top, left, every)[7:-1].split()]
    a, b, c, d, e, f = numbers
    for row, col in ((0, 0), (4, 7), (11, 2)):
        pixel = np.array([col + 0.5, row + 0.5])
        shown = np.array([a * pixel[0] + c * pixel[1] + e, b * pixel[0] + d * pixel[1] + f])
        cell = grid.centre(top + row * every, left + col * every)
        assert shown == pytest.approx(view.points(np.array(grid.to_map(*cell)))[0], abs=0.01)
    corners = shapely.get_coordinates(shapely.box(-60, -30, 50, 40))
    inside = view.points(np.column_stack(grid.to_map(corners[:, 0], corners[:, 1])))
    assert (inside > 0).all() and (inside < (view.width, view.height)).all()
    rows, cols = view.window(grid)
    assert 0 <= rows.start < rows.stop <= 80 and 0 <= cols.start < cols.stop <= 120


@pytest.mark.parametrize("bands", [1, 2, 3, 4])
def test_png_is_what_was_given(bands) -> None:
    """Read back by Pillow, another reader."""
    values = np.random.default_rng(bands).integers(0, 256, (bands, 5, 7), np.uint8)
    shown = np.asarray(Image.open(io.BytesIO(png_bytes(values))))
    assert np.array_equal(shown.reshape(5, 7, bands), np.moveaxis(values, 0, -1))


def test_png_of_something_else_is_refused() -> None:
    with pytest.raises(ValueError, match="8 bits"):
        png_bytes(np.zeros((1, 3, 3), float))


@pytest.mark.parametrize(
    "scores", [[], [np.nan], [50.0], [88.2, 88.3, 88.4], list(np.linspace(3, 99, 500)), [0.0, 0.0]]
)
def test_classes_of_score_hold_every_score(scores) -> None:
    edges = score_edges(np.array(scores, float))
    known = np.array(scores, float)[np.isfinite(scores)]
    assert edges[0] >= 0 and (np.diff(edges) >= 0).all() and len(edges) >= 2
    assert ((known >= edges[0]) & (known <= edges[-1])).all()
