"""What is known of a place and still leaves room for a river's bed."""

from __future__ import annotations

import pytest

from tunnelsite.core.banks import FREEBOARD_M, may_be_bed


@pytest.mark.parametrize(
    ("height_m", "away_m", "may"),
    [
        (None, None, True),
        (0.0, 0.0, True),
        (None, 0.0, True),
        (FREEBOARD_M - 0.01, 0.0, True),
        (FREEBOARD_M, 0.0, False),
        (0.0, 40.0, False),
        (None, 200.0, False),
        (0.0, None, False),
    ],
)
def test_only_a_place_at_no_height_and_no_distance_may_be_a_bed(height_m, away_m, may) -> None:
    assert may_be_bed(height_m, away_m) == may
