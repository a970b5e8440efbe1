"""The key of a grading map names what is drawn and nothing else."""

from __future__ import annotations

from types import SimpleNamespace

import shapely

from tunnelsite.core.house import House, Pad
from tunnelsite.plans.grading.key import _lines


def data(*, slopes_m: float = 0.0, drainage=None):
    house = House(9.144, 29.26)
    pad = Pad.around(house, 1.2)
    outline = shapely.box(-pad.length_m / 2 - slopes_m, -pad.width_m / 2, pad.length_m / 2 + slopes_m, pad.width_m / 2)
    plan = SimpleNamespace(outline=outline, place=SimpleNamespace(house=house, pad=pad))
    return SimpleNamespace(plan=plan, drainage=drainage, interval_m=0.15)


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
