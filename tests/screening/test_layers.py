"""What processes are given of a run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.scan.grounds import hills, site
from tunnelsite.core.process import silent
from tunnelsite.processes import contributing_area, drainage_lines, level_patches
from tunnelsite.screening.layers import add_made, framed, made_by
from tunnelsite.settings.model import Settings


def test_water_from_beyond_is_gathered_only_for_a_process_that_still_needs_it():
    settings, farm = Settings(), site(hills(60, 60, 1))
    frame = framed(farm, settings, 90.0)

    def drained():
        raise AssertionError("asked for")

    beyond = replace(farm, drained=drained)
    with pytest.raises(AssertionError, match="asked for"):
        made_by(drainage_lines.PROCESS, beyond, frame, settings)
    add_made(contributing_area.PROCESS, farm, frame, settings, silent)
    assert "drainage_height_m" in made_by(drainage_lines.PROCESS, beyond, frame, settings)


@pytest.mark.parametrize("pond", [False, True])
def test_a_layer_that_is_the_same_everywhere_takes_no_room(pond):
    settings, ground = Settings(), hills(60, 60, 1)
    if pond:
        ground[20:40, 20:40] = ground.min() - 1.0
    farm = site(ground)
    frame = framed(farm, settings, 90.0)
    made = made_by(level_patches.PROCESS, farm, frame, settings)["water_like"].values
    add_made(level_patches.PROCESS, farm, frame, settings, silent)
    kept = frame.layers["water_like"]
    assert kept.dtype == np.float16 and np.array_equal(kept, made) and made.any() == pond
    assert (kept.strides == (0, 0)) is not pond
