"""Contrast of what a report shows, computed as WCAG 2.1 defines it (relative luminance, 1.4.3 and 1.4.11) [@wcag]."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from tunnelsite.drawing.farm_map import PASSED_ALPHA
from tunnelsite.drawing.hatches import HATCHES, hatching

TEXT, PART = 4.5, 3.0  # of text of normal size; of what has to be seen to use or understand a thing
STYLE = files("tunnelsite.report").joinpath("page.css").read_text("utf-8")
COLOURS = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", STYLE))


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [value / 12.92 if value <= 0.03928 else ((value + 0.055) / 1.055) ** 2.4 for value in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_measure_itself() -> None:
    """Black on white is 21 : 1 by definition; #767676 is the lightest grey that passes on white [@wcag]."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize(
    ("ink", "paper"),
    [
        *((ink, paper) for ink in ("ink", "soft", "accent") for paper in ("paper", "wash", "accent-wash")),
        *((ink, paper) for ink in ("ink", "for") for paper in ("for-wash",)),
        *((ink, paper) for ink in ("ink", "against") for paper in ("against-wash",)),
        ("against", "paper"), ("for", "paper"), ("for", "accent-wash"), ("against", "accent-wash"),
        ("paper", "accent"), ("paper", "ink"), ("paper", "night"), ("night-soft", "night"), ("paper", "against"),
    ],
)  # fmt: skip
def test_text_can_be_read(ink, paper) -> None:
    assert contrast(COLOURS[ink], COLOURS[paper]) >= TEXT


def test_every_colour_of_the_style_is_one_of_those_named() -> None:
    assert set(re.findall(r"#[0-9a-fA-F]{3,6}\b", STYLE)) == set(COLOURS.values())
    used = set(re.findall(r"var\(--([a-z-]+)\)", STYLE))
    assert used == set(COLOURS)


def test_marks_and_focus_stand_out() -> None:
    for one, other in (
        ("accent", "paper"),
        ("accent", "wash"),
        ("sun", "accent"),
        ("sun", "against"),
        ("sun", "ink"),
        ("ink", "paper"),
    ):
        assert contrast(COLOURS[one], COLOURS[other]) >= PART, (one, other)


def test_hatching_stands_out_on_the_lightest_relief_and_differs_in_more_than_colour() -> None:
    for shade, _ in HATCHES.values():
        assert contrast(shade, "#ffffff") >= PART
    drawn = [
        "".join(path + str(look["stroke_dasharray"]) for path, look in hatching(name, 64.0, 48.0)) for name in HATCHES
    ]
    assert len(set(drawn)) == len(drawn) and 0 < PASSED_ALPHA < 255
