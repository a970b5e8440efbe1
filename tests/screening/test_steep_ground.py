"""A mountainside within the land that was read is told as not assessed; banks and terraces are none."""

from __future__ import annotations

import numpy as np
import pytest

from tests.scan.grounds import site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House


@pytest.mark.parametrize(("degrees", "told"), [(28.0, False), (35.0, True)])
@pytest.mark.parametrize("cell", [1.0, 4.0])
def test_a_mountainside_over_the_valley_floor_is_told(degrees: float, told: bool, cell: float) -> None:
    """A level floor 100 m wide, above it a slope of 150 m by 240 m in plan: 3.6 ha."""
    row, _ = np.mgrid[0 : int(250 / cell), 0 : int(240 / cell)]
    ground = 100 + np.tan(np.radians(degrees)) * np.clip(150 - cell * row, 0, None) - 0.01 * cell * row
    result = screen(site(ground, cell=cell), House(12.0, 20.0), settings=Settings(azimuths=8, top=1, draws=20))
    words = [gap.words for gap in result.gaps if gap.words.startswith("rockfall, avalanches")]
    assert bool(words) == told == ("rockfall" in result.rows[0]["not_assessed"])
    if told:
        assert 3.0 <= float(words[0].split("(")[1].split(" ha")[0]) <= 4.0


def test_a_bank_is_no_mountainside() -> None:
    """7 m high over 10 m, 35 degrees, along the whole of 240 m: 0.24 ha."""
    row, _ = np.mgrid[0:200, 0:240]
    result = screen(
        site(100 + 0.7 * np.clip(60 - row, 0, 10)), House(12.0, 20.0), settings=Settings(azimuths=8, top=1, draws=20)
    )
    assert not any("rockfall" in gap.words for gap in result.gaps)
