"""Light in bands of rows, as it is computed where the losses of all months would not fit in memory."""

from __future__ import annotations

import numpy as np
import pytest

from tests.processes.test_season_light import WINTER, grove, layer
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.processes import season_light
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer
from tunnelsite.sun.season import bare_trees, season_sun


def grove_in_winter() -> dict[str, Layer]:
    """Inputs of the process: a grove with two outlines and the sun of a winter."""
    ground, surface, leafless = grove()
    sun = season_sun(clear_sky_steps(Observer(44.0, 10.0, 100.0), 60), WINTER, bare_trees(44.0))
    edges = np.array([[20.2, 10.4, 20.2, 18.3, 6.0, 6.0, 0.0], [34.1, 15.0, 36.9, 59.0, 12.0, 12.0, 1.0]])
    inputs = {"ground": layer(ground), "surface": layer(surface), "surface_leafless": layer(leafless)}
    return inputs | {"sun": layer(sun, "sun"), "outlines": layer(edges, "outlines")}


@pytest.mark.parametrize("limit", [8_000, 30_000])
def test_bands_give_what_the_whole_gives(monkeypatch, limit: int) -> None:
    inputs = grove_in_winter()
    whole = season_light.PROCESS(inputs)
    monkeypatch.setattr(season_light, "LOSSES_BYTES", limit)
    assert len(season_light._parts_of_rows(inputs["ground"].values.shape, 7)) > 2
    parts = season_light.PROCESS(inputs)
    for name, values in whole.items():
        np.testing.assert_array_equal(values.values, parts[name].values, err_msg=name)


def window_of(layers: dict, window: tuple[int, int, int, int]) -> dict[str, np.ndarray]:
    top, bottom, left, right = window
    return {name: one.values[top:bottom, left:right] for name, one in layers.items()}


@pytest.mark.parametrize("window", [(0, 7, 0, 5), (11, 30, 23, 60), (20, 21, 0, 3), (35, 40, 55, 60)])
@pytest.mark.parametrize("limit", [8_000, 1 << 30])
def test_a_window_gets_what_the_whole_gives(monkeypatch, limit: int, window: tuple[int, int, int, int]) -> None:
    inputs = grove_in_winter()
    whole = season_light.PROCESS(inputs)
    monkeypatch.setattr(season_light, "LOSSES_BYTES", limit)
    part = season_light.PROCESS(inputs | {"windows": layer(np.array([window], float), "windows")})
    for name, values in window_of(whole, window).items():
        np.testing.assert_array_equal(values, window_of(part, window)[name], err_msg=name)
    known = np.isfinite(part["beam_share"].values)
    assert known.sum() == np.isfinite(window_of(whole, window)["beam_share"]).sum()
    assert (part["worst_month"].values[~known] == season_light.NOT_KNOWN).all()


@pytest.mark.parametrize("limit", [8_000, 1 << 30])
def test_a_window_sees_the_same_far_ground_as_the_whole(monkeypatch, limit: int) -> None:
    """A ridge 900 m off. Far horizons lie between those of the lowest and the highest eye near by, so they may differ by a hair."""
    inputs = grove_in_winter()
    cell, count = 10.0, 240
    heights = np.zeros((count, count), np.float32)
    heights[210:213] = 500.0
    heights[116:124, 116:126] = np.nan  # where the ground itself is known
    far = Layer(heights, "m", "far ground", (cell, cell), (118.3 * cell, 117.6 * cell))
    near = season_light.PROCESS(inputs)["beam_share_worst"].values
    whole = season_light.PROCESS(inputs | {"far_ground": far})
    monkeypatch.setattr(season_light, "LOSSES_BYTES", limit)
    window = 11, 30, 23, 60
    asked = {"far_ground": far, "windows": layer(np.array([window], float), "windows")}
    part = season_light.PROCESS(inputs | asked)
    for name in ("beam_share", "beam_share_worst"):
        found, wanted = (window_of(one, window)[name] for one in (part, whole))
        np.testing.assert_allclose(found, wanted, atol=2e-3, err_msg=name)
    assert (near - whole["beam_share_worst"].values)[11:30, 23:60].mean() > 0.1  # the ridge matters
    assert np.isfinite(part["beam_share"].values).sum() == np.isfinite(window_of(part, window)["beam_share"]).sum()


def test_a_window_beyond_the_ground_is_refused() -> None:
    ground, surface, _ = grove()
    sun = season_sun(clear_sky_steps(Observer(44.0, 10.0, 100.0), 60), WINTER, bare_trees(44.0))[:, :4]
    inputs = {"ground": layer(ground), "surface": layer(surface), "sun": layer(sun, "sun")}
    with pytest.raises(UsageError, match="windows"):
        season_light.PROCESS(inputs | {"windows": layer(np.array([[0.0, 9.0, 0.0, 1e6]]), "windows")})


def test_several_windows_get_what_the_whole_gives_and_nothing_else() -> None:
    inputs, windows = grove_in_winter(), [(2, 9, 3, 11), (20, 31, 40, 60), (5, 12, 8, 20)]
    whole = season_light.PROCESS(inputs)
    part = season_light.PROCESS(inputs | {"windows": layer(np.array(windows, float), "windows")})
    for window in windows:
        for name, values in window_of(whole, window).items():
            np.testing.assert_array_equal(values, window_of(part, window)[name], err_msg=name)
    asked = np.zeros(inputs["ground"].values.shape, bool)
    for top, bottom, left, right in windows:
        asked[top:bottom, left:right] = True
    np.testing.assert_array_equal(
        np.isfinite(part["beam_share"].values), asked & np.isfinite(whole["beam_share"].values)
    )
