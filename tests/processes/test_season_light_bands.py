"""Light in bands of rows, as it is computed where the losses of all months would not fit in memory."""

from __future__ import annotations

import numpy as np
import pytest

from tests.processes.test_season_light import WINTER, grove, layer
from tunnelsite.processes import season_light
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Place
from tunnelsite.sun.season import bare_trees, season_sun


@pytest.mark.parametrize("limit", [8_000, 30_000])
def test_bands_give_what_the_whole_gives(monkeypatch, limit: int) -> None:
    ground, surface, leafless = grove()
    sun = season_sun(clear_sky_steps(Place(44.0, 10.0, 100.0), 60), WINTER, bare_trees(44.0))
    edges = np.array([[20.2, 10.4, 20.2, 18.3, 6.0, 6.0, 0.0], [34.1, 15.0, 36.9, 59.0, 12.0, 12.0, 1.0]])
    inputs = {"ground": layer(ground), "surface": layer(surface), "surface_leafless": layer(leafless)}
    inputs |= {"sun": layer(sun), "outlines": layer(edges)}
    whole = season_light.PROCESS(inputs)
    monkeypatch.setattr(season_light, "LOSSES_BYTES", limit)
    assert len(season_light._bands(ground.shape, 7)) > 2
    parts = season_light.PROCESS(inputs)
    for name, values in whole.items():
        np.testing.assert_array_equal(values.values, parts[name].values, err_msg=name)
