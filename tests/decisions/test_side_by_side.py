"""Candidates of one run side by side, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.decisions.compare import Pair, RunsCompared, in_words
from tunnelsite.decisions.side_by_side import side_by_side

CRITERIA = [
    {"criterion": "pitch", "title": "Pitch", "weight": 3.0},
    {"criterion": "sun", "title": "Sun", "weight": 1.0},
    {"criterion": "soils", "title": "Soil", "weight": 1.0},
    {"criterion": "noon", "title": "Noon", "weight": 0.0},
]
# 3 x 1.0 + 1 x 0.5 + 1 x 0.5 = 4 of 5; 3 x 0.5 + 1 x 0.9 + 1 x 0.5 (no soil known: half) = 2.9; 3 x 0.5 + 1 x 0.5 + 1 x 0.5 = 2.5
COLUMNS = {
    "feature_id": [1, 2, 3],
    "rank": [1, 2, 3],
    "score": [80.0, 58.0, 50.0],
    "parcel": ["A", "B", "B"],
    "house": ["30x96ft"] * 3,
    "bearing_deg": [90.0] * 3,
    "lon": [-78.1] * 3,
    "lat": [43.0] * 3,
    "upslope_m2": [1234.5, 10.0, 0.04],
    "night_lux": [None, None, np.nan],
    "score_pitch": [1.0, 0.5, 0.5],
    "score_sun": [0.5, 0.9, 0.5],
    "score_soils": [0.5, None, 0.5],
    "flags": ["", "lies in a hollow", None],
}


def test_points_add_up_to_the_score_whatever_was_assessed():
    found = side_by_side(COLUMNS, CRITERIA, [1, 2, 3])
    assert found.points.sum(axis=0) == pytest.approx([80, 58, 50])
    assert found.points[:, 0] == pytest.approx([60, 10, 10]) and found.points[:, 1] == pytest.approx([30, 18, 10])
    assert [one.id for one in found.criteria] == ["pitch", "sun", "soils"]  # no weight, no line
    assert found.measures == {"upslope_m2": (1234.5, 10.0, 0.04)}  # what was nowhere assessed has no line


def test_reasons_name_the_largest_difference_first():
    first, second, *rest = side_by_side(COLUMNS, CRITERIA, [1, 2, 3]).reasons()
    assert first == "rank 2 scores 22.0 points less than rank 1: -30.0 for pitch, +8.0 for sun"
    assert second == "rank 3 scores 30.0 points less than rank 1: -30.0 for pitch"
    assert rest == ["rank 1 is at least as good as rank 3 on every mark, whatever the weights"]
    other_way = side_by_side(COLUMNS, CRITERIA, [2, 1]).reasons()
    assert other_way[0].startswith("rank 1 scores 22.0 points more than rank 2: +30.0 for pitch")
    assert "depends on the weights" in other_way[-1]


def test_what_is_not_known_of_one_is_no_mark_that_the_other_beats():
    """Alike but for a soil that is full marks at one and not known at the other, which counts half and costs points."""
    columns = COLUMNS | {"score_sun": [0.5, 0.9, 0.9], "score_soils": [0.5, None, 1.0], "score": [80.0, 58.0, 68.0]}
    *_, last = side_by_side(columns, CRITERIA, [3, 2]).reasons()
    assert "depends on the weights" in last
    better = side_by_side(columns | {"score_sun": [0.5, 0.91, 0.9]}, CRITERIA, [3, 2]).reasons()
    assert not any("whatever the weights" in words for words in better)


def test_what_is_known_a_step_aside_counts_as_in_the_ranking():
    """The soil of rank 2 is not known at its place; over the shifts it brings 16 of 20 points, which its score holds."""
    found = side_by_side(COLUMNS | {"score": [80.0, 64.0, 50.0]}, CRITERIA, [1, 2])
    assert found.points.sum(axis=0) == pytest.approx([80, 64]) and found.points[2, 1] == pytest.approx(16)
    first, *_, last = found.reasons()
    assert first == "rank 2 scores 16.0 points less than rank 1: -30.0 for pitch, +8.0 for sun, +6.0 for soil"
    assert last == (
        "rank 2: soil is not known at the place itself but a step aside, and brings 16.0 of 20.0 points over small shifts"
    )
    two = side_by_side(
        COLUMNS | {"score": [80.0, 60.0, 50.0], "score_sun": [0.5, None, 0.5], "score_pitch": [1.0, 0.5, 0.5]},
        CRITERIA,
        [1, 2],
    )
    assert two.points[1:, 1] == pytest.approx([15, 15]), "only their sum is known"
    assert (
        "sun and soil are not known" in two.reasons()[-1] and "bring together 30.0 of 40.0 points" in two.reasons()[-1]
    )


def test_what_is_not_known_anywhere_near_counts_half_without_a_word():
    found = side_by_side(COLUMNS, CRITERIA, [1, 2])
    assert found.points[2, 1] == pytest.approx(10) and not any("step aside" in words for words in found.reasons())


def test_other_ways_to_combine_have_no_points():
    found = side_by_side(COLUMNS, CRITERIA, [1, 3], "geometric")
    assert found.points is None and "points" in found.reasons()[0] and "pitch" not in found.reasons()[0]
    assert "marks (0 to 1)\n" in found.words()


def test_words_are_a_table_with_a_column_each():
    lines = side_by_side(COLUMNS, CRITERIA, [3, 1]).words().splitlines()
    head = next(line for line in lines if "rank 3" in line and "rank 1" in line)
    score = next(line for line in lines if line.startswith("score"))
    assert head.index("rank 3") + 6 == score.index("50.0") + 4 and head.index("rank 1") + 6 == score.index("80.0") + 4
    assert any(
        "land that feeds the largest run of water" in line and line.endswith("0.31 acres (1,234 m²)") for line in lines
    )
    metric = {**COLUMNS, "house": ["9x29m"] * 3}
    assert any("1,234 m² (0.31 acres)" in line for line in side_by_side(metric, CRITERIA, [3, 1]).words().splitlines())


def test_a_notebook_shows_measures_marks_and_reasons():
    shown = side_by_side(COLUMNS, CRITERIA, [3, 1])._repr_html_()
    assert "<p>measures</p>" in shown and "<p>marks</p>" in shown and "<li>" in shown


def test_two_rankings_in_words():
    pairs = [Pair(1, 2, 1.0, -3.0), Pair(2, None, 0.0, None), Pair(3, 3, 0.9, 0.0), Pair(None, 1, 0.0, None)]
    assert in_words(pairs) == (
        "2 places are in both rankings (3 and 3 candidates); 1 keeps its rank; the largest move is from 1 to 2; the best "
        "place of the first is number 2 in the second"
    )
    assert in_words([Pair(1, 1, 1.0, 0.0)]) == "1 place is in both rankings (1 and 1 candidates); all keep their rank"
    resized = Pair(1, 1, 1.0, 2.0, "30x96ft", "20x48ft")
    assert in_words([resized]).endswith("all keep their rank; at 1 the house has another size")
    assert "  100%  +2.00  for 20x48ft, not 30x96ft\n" in RunsCompared((resized,), {}, {}).words()
    many = RunsCompared((resized,) * 1062, {}, {}).words().splitlines()
    assert len(many) == 1 + 60 + 2 and many[-2] == "... and 1,002 more: --json lists all"
    assert in_words([Pair(1, None, 0.0, None)]) == "no place is in both rankings (1 and 0 candidates)"
