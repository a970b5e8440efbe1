"""A first field and a small building, drawn on a terrain model alone in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.desk.served import WAIT_MS, Served, Shown, shown
from tests.report.browser import browser
from tests.whole_run.files import gentle, plain_farm


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shown]:
    """A desk on a terrain model and nothing else."""
    folder: Path = tmp_path_factory.mktemp("ground")
    plain_farm(folder, gentle(80, 100))
    (folder / "parcels.gpkg").unlink()
    (folder / "farm.toml").write_text('dem = "dem.tif"\nhalo = "20m"\nazimuths = 8\n', "utf-8")
    served = Served(folder)
    with browser() as chromium:
        served.start()
        try:
            yield shown(chromium, served.address, viewport={"width": 1280, "height": 800})
        finally:
            served.kill()


def _ground(desk: Shown) -> dict[str, float]:
    desk.page.wait_for_selector(".leaflet-ground-pane img", timeout=WAIT_MS)
    return desk.page.locator(".leaflet-ground-pane img").first.bounding_box()


def _draw(desk: Shown, kind: str, side_px: float) -> None:
    desk.page.click("#draw")
    desk.page.click(f".pane button:text-is('{kind}')")
    box = _ground(desk)
    east, north = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for right, down in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        desk.page.mouse.click(east + right * side_px / 2, north + down * side_px / 2)
        desk.page.wait_for_timeout(120)
    desk.page.click("#finish")
    desk.page.wait_for_selector("#delete-drawn")
    desk.page.click("#map-card button:text-is('Close')")


def test_bar_of_the_drawing_lies_on_none_of_the_map(desk: Shown) -> None:
    """The panel lay on the land, so that corners below it could not be clicked."""
    _ground(desk)
    desk.page.click("#draw")
    desk.page.click(".pane button:text-is('Field')")
    land, bar = (desk.page.locator(what).bounding_box() for what in ("#map", "#map-card"))
    assert land["y"] + land["height"] <= bar["y"] + 1
    assert bar["height"] < 0.3 * (land["height"] + bar["height"])
    desk.page.click("#map-card button:text-is('Close')")
    after = desk.page.locator("#map").bounding_box()
    assert after["height"] == pytest.approx(land["height"] + bar["height"], abs=1)


def test_map_stays_where_it_is_when_the_first_field_is_read(desk: Shown) -> None:
    """It went to the field while the next thing was drawn."""
    page = desk.page
    _draw(desk, "Field", 220.0)
    where = "() => [document.querySelector('.leaflet-map-pane').style.transform, document.querySelector('.leaflet-control-scale').innerText]"
    stood = page.evaluate(where)
    desk.until(lambda: desk.asked("/api/state")["cost"] is not None)  # the field is read
    page.wait_for_timeout(1500)
    assert page.evaluate(where) == stood


def test_small_building_keeps_its_four_corners(desk: Shown) -> None:
    """A corner within 20 pixels of the first one closed the outline."""
    _draw(desk, "Building", 14.0)
    building = next(one for one in desk.asked("/api/drawn")["features"] if one["properties"]["what"] == "building")
    assert len(building["geometry"]["coordinates"][0]) == 5
    assert desk.complaints == []
