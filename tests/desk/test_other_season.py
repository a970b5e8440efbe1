"""A house in the hand in other crop months scores as a run in those months scores it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.desk.fields import FARM, field_project, screened_field
from tunnelsite.core.errors import UsageError
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.map_drawing import MapDrawing
from tunnelsite.desk.measures import Units
from tunnelsite.desk.other_season import HELD_M, lit_for, lit_near, relit
from tunnelsite.desk.spot import Spots
from tunnelsite.desk.what_if import what_if
from tunnelsite.screening.result import Result

WINTER, SUMMER, SIZE = "10-01:04-30", "05-01:08-31", "20x48ft"
TALL_M, TURN_DEG = 12.0, 90.0


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Result]:
    """A field with a wall of trees along its southern part, screened for winter and for summer."""
    project = field_project(tmp_path_factory.mktemp("shaded"), FARM.replace("azimuths = 8", "azimuths = 24"))
    drawing = MapDrawing(project)
    place = screened_place(project)
    line = [[place[0] - 3e-4, place[1]], [place[0] + 3e-4, place[1]]]
    about = {"what": "tree_line", "height_m": TALL_M}
    drawing.put("wall", {"geometry": {"type": "LineString", "coordinates": line}, "properties": about})
    found = {WINTER: screened_field(project)}
    project.change({"crop_months": SUMMER})
    return found | {SUMMER: screened_field(project)}


def screened_place(project) -> tuple[float, float]:
    """Twelve metres south of the field's middle."""
    from tunnelsite.io.read.site import site_from
    from tunnelsite.scan.localise import frame_grid

    grid = frame_grid(site_from(project.settings()), bearing_deg=90.0, cell_m=1.0, halo_m=20.0)
    lon, lat = (float(value) for value in grid.lonlat(0.0, -12.0))
    return lon, lat


def shaded(result: Result) -> tuple[float, float]:
    """A place that passes and is not far north of the wall."""
    scan = result.scans[0]
    dark = scan.measures["sun"]
    item = int(np.nanargmin(np.where(np.isfinite(result.scored[0]), dark, np.nan)))
    row, col = divmod(int(scan.index[item]), scan.frame.grid.cols)
    lon, lat = (float(value) for value in scan.frame.grid.lonlat(*scan.frame.grid.centre(row, col)))
    return lon, lat


@pytest.mark.parametrize(("own", "other"), [(WINTER, SUMMER), (SUMMER, WINTER)])
def test_other_months_score_as_their_own_run_does(runs, own: str, other: str) -> None:
    lon, lat = shaded(runs[WINTER])
    held = {months: InHand(result, Units(True)) for months, result in runs.items()}
    usual, wanted = (held[months].message(lon, lat, TURN_DEG, SIZE) for months in (own, other))
    tried = held[own].in_months(other, (lon, lat)).message(lon, lat, TURN_DEG, SIZE)
    assert abs(usual["score"]["steady"] - wanted["score"]["steady"]) > 3  # the season matters here
    assert tried["score"]["steady"] == pytest.approx(wanted["score"]["steady"], abs=0.02)
    assert tried["light"] == wanted["light"]
    assert tried["tried"]["months"] == other and tried["room_m"] is None and "tried" not in usual


def test_own_months_change_nothing(runs) -> None:
    lon, lat = shaded(runs[WINTER])
    in_hand = InHand(runs[WINTER], Units(True))
    usual = in_hand.message(lon, lat, TURN_DEG, SIZE)
    again = in_hand.in_months("Oct:Apr", (lon, lat)).message(lon, lat, TURN_DEG, SIZE)
    assert again["score"]["steady"] == pytest.approx(usual["score"]["steady"], abs=1e-3)
    assert type(in_hand.spots) is Spots


def test_months_that_are_none_are_refused(runs) -> None:
    with pytest.raises(UsageError):
        InHand(runs[WINTER], Units(True)).in_months("Smarch", shaded(runs[WINTER]))


def test_light_is_kept_while_the_house_stays_near(runs) -> None:
    lon, lat = shaded(runs[WINTER])
    north = HELD_M / 111_000
    kept = [lit_for(runs[WINTER].frame, (lon, lat), (lon, lat + part * north)) for part in (0.9, 1.2, float("inf"))]
    assert kept == [True, False, False]


def test_what_if_of_other_months_is_the_answer_of_their_run(runs) -> None:
    settings = runs[WINTER].settings.model_copy(update={"crop_months": SUMMER})
    found, wanted = what_if(runs[WINTER], settings), runs[SUMMER]
    assert [(row["house"], row["lon"], row["lat"]) for row in found.rows] == [
        (row["house"], row["lon"], row["lat"]) for row in wanted.rows
    ]
    assert [row["score"] for row in found.rows] == pytest.approx([row["score"] for row in wanted.rows], abs=1e-3)
    assert np.array_equal(found.scans[0].index, wanted.scans[0].index)
    assert found.scored[0] == pytest.approx(wanted.scored[0], abs=1e-3)
    assert np.abs(wanted.scored[0] - runs[WINTER].scored[0]).max() > 3  # the season matters on this field


def test_shade_from_beyond_the_land_that_is_lit_counts(runs, monkeypatch: pytest.MonkeyPatch) -> None:
    """Light is computed on 20 m round the house; a ridge at the far end of the field shades it all the same."""
    lon, lat = shaded(runs[WINTER])
    monkeypatch.setattr("tunnelsite.desk.other_season.REACH_M", -HELD_M + 20.0)
    result = runs[WINTER]
    frame, settings = result.frame, result.settings.model_copy(update={"crop_months": SUMMER})
    surfaces = {name: values.copy() for name, values in frame.layers.items() if name.startswith("surface")}
    for values in surfaces.values():
        values[-3:] += 60.0
    walled = replace(frame, layers=frame.layers | surfaces)
    light = []
    for land in (frame, walled):
        whole, part = relit(result.site, land, settings), lit_near(result.site, land, settings, (lon, lat))
        row, col = (round((whole.grid.north_m - part.grid.north_m) / part.grid.cell_m),
                    round((part.grid.west_m - whole.grid.west_m) / part.grid.cell_m))  # fmt: skip
        place = slice(row, row + part.grid.rows), slice(col, col + part.grid.cols)
        assert part.grid.rows == 41 < whole.grid.rows - row  # the ridge lies beyond
        for name in ("beam_share", "beam_share_worst", "worst_month"):
            np.testing.assert_array_equal(part.layers[name], whole.layers[name][place], err_msg=name)
        light.append(part.layers["beam_share"].mean())
    assert light[1] < light[0] - 0.05
