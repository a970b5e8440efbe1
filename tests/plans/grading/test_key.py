"""The key of a grading map names what is drawn and nothing else."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from tunnelsite.core.house import House, Pad
from tunnelsite.drawing.svg import Drawing
from tunnelsite.plans.grading.key import NARROW, _lines, key, key_room, scale_bar


def data(*, slopes_m: float = 0.0, drainage=None):
    house = House(9.144, 29.26)
    pad = Pad.around(house, 1.2)
    outline = shapely.box(-pad.length_m / 2 - slopes_m, -pad.width_m / 2, pad.length_m / 2 + slopes_m, pad.width_m / 2)
    plan = SimpleNamespace(outline=outline, place=SimpleNamespace(house=house, pad=pad))
    return SimpleNamespace(plan=plan, drainage=drainage, interval_m=0.15)


@pytest.mark.parametrize("feet", [True, False])
@pytest.mark.parametrize("deepest_m", [0.03, 0.3, 1.0, 2.5])
def test_depths_under_the_colours_do_not_run_into_each_other(deepest_m: float, feet: bool) -> None:
    """`-3 ft 3 1/4 in` ran into `-1 ft 11 1/2 in` under the colours of a metre of cut."""
    one = data()
    one.plan.place.house = House(9.144, 29.26, feet=feet)
    one.wide = 680.0
    drawing = Drawing(680.0, 200.0, "key", "key")
    key(drawing, one, np.linspace(-deepest_m, deepest_m, 11), 10.0, set())
    words = [
        (float(text.get("x")), float(text.get("y")), "".join(text.itertext()))
        for text in ElementTree.fromstring(drawing.text).iter("{http://www.w3.org/2000/svg}text")
        if text.get("text-anchor") == "middle"
    ]
    assert len(words) >= 6
    for x, y, text in words:
        assert x - 3.4 * len(text) >= 0
        for other_x, other_y, other in words:
            assert other_y != y or other_x <= x or other_x - x >= 3.4 * (len(text) + len(other))


@pytest.mark.parametrize("scale", [3.0, 8.0, 12.0])
def test_the_scale_of_a_narrow_map_stands_clear_of_the_lines_explained(scale: float) -> None:
    """On a client's card the bars stood across `swale, arrow to its outlet`."""
    everything = SimpleNamespace(drain=shapely.LineString([(0, 0), (1, 1)]), arms=(1,), spreaders=(1,))
    one = data(slopes_m=1.0, drainage=everything)
    one.wide = NARROW
    drawing = Drawing(NARROW, 300.0, "key", "key")
    key(drawing, one, np.linspace(-0.25, 0.25, 11), 26.0, {"contours before", "contours after"})
    scale_bar(drawing, one, scale, 26.0)
    words = [
        (float(text.get("x")), float(text.get("y")), "".join(text.itertext()))
        for text in ElementTree.fromstring(drawing.text).iter("{http://www.w3.org/2000/svg}text")
        if text.get("text-anchor") != "middle"
    ]
    assert len(words) == 11 and max(y for _, y, _ in words) < key_room(one)  # heading, 8 lines, 2 bars
    for x, y, text in words[-2:]:
        for left, base, other in words[1:-2]:
            assert abs(base - y) >= 14 or left + 6.7 * len(other) < 279.0 <= x, (text, other)


def names(one, drawn) -> list[str]:
    return [words for words, _ in _lines(one, drawn)]


def test_a_pad_smoothed_in_place_has_three_lines() -> None:
    assert names(data(), {"contours after"}) == [
        "edge of the house", "edge of the pad", "contours, before and after, every 0.15 m (0.49 ft)",
    ]  # fmt: skip
    assert names(data(), set()) == ["edge of the house", "edge of the pad"]


def test_side_slopes_drain_swale_and_spreader_where_there_are_any() -> None:
    nothing = SimpleNamespace(drain=None, arms=(), spreaders=())
    everything = SimpleNamespace(drain=shapely.LineString([(0, 0), (1, 1)]), arms=(1,), spreaders=(1,))
    both = {"contours before", "contours after"}
    assert len(names(data(drainage=nothing), both)) == 4
    told = names(data(slopes_m=2.0, drainage=everything), both)
    assert told[2] == "end of the side slopes" and told[4] == "contours after"
    assert told[-3:] == ["French drain off the posts", "swale, arrow to its outlet", "level spreader: grass below it"]
