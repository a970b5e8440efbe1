"""The stakes on a phone: what it shows of a position, and what it gives back to `stakeout` and `sunchart`."""

from __future__ import annotations

import functools
import http.server
import json
import re
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from pyproj import Geod

from tests.io.formats.test_stake_sheets import sheet  # noqa: F401
from tests.report.browser import browser
from tunnelsite.drawing.phone_page import phone_html
from tunnelsite.io.read.field_horizon import read_field_readings
from tunnelsite.plans.stakeout.level_book import parse_level_book


def stakes_of(page: str) -> list[dict]:
    return json.loads(re.search(r'id="data">(.*?)</script>', page)[1])["stakes"]


def test_every_stake_is_there_and_nothing_is_asked_of_a_network(sheet) -> None:  # noqa: F811
    page = phone_html(sheet)
    assert {stake["label"] for stake in stakes_of(page)} == {point.label for point in sheet.points}
    assert "default-src 'none'" in page and "fetch(" not in page and "XMLHttpRequest" not in page
    assert not re.findall(r'(?:src|href)="', page)
    for caution in sheet.cautions:
        assert caution.replace("'", "&#x27;") in page or caution in page


@pytest.fixture
def served(sheet, tmp_path: Path):  # noqa: F811
    """The page over the loopback address: a browser gives positions to secure places alone."""
    (tmp_path / "p.html").write_text(phone_html(sheet), "utf-8")
    handler = functools.partial(http.server.SimpleHTTPRequestHandler, directory=str(tmp_path))
    handler.log_message = lambda *words: None  # type: ignore[attr-defined]
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}/p.html"
        server.shutdown()


def test_on_grade_is_what_the_eighth_of_an_inch_does_not_show(sheet) -> None:  # noqa: F811
    """1 mm is less than half of 1/8 in (1.6 mm): no crew digs `cut 0 in`. On a page in metres 1 mm is 1 mm."""
    near = replace(sheet.points[0], cut_m=0.001)
    for feet, words in ((True, "on grade"), (False, "cut 0.001 m")):
        page = phone_html(replace(sheet, points=(near, *sheet.points[1:]), feet=feet))
        assert stakes_of(page)[0]["cut"] == words


def test_in_the_field(served: str, sheet, tmp_path: Path) -> None:  # noqa: F811
    """At 390 px: nothing runs out of the side; distance and bearing are those of the ellipsoid; both lists read back."""
    first = sheet.of_kind("corner")[0]
    here = {"latitude": first.lat_deg - 0.0009, "longitude": first.lon_deg + 0.0007, "accuracy": 4}
    with browser() as started:
        context = started.new_context(
            viewport={"width": 390, "height": 800}, geolocation=here, permissions=["geolocation"], accept_downloads=True
        )
        page = context.new_page()
        complaints: list[str] = []
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(served)
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        page.click("#locate")
        page.wait_for_selector(".far b")
        far, bearing = page.locator(".stakes li").first.locator(".far").inner_text().split("\n")
        want_bearing, _, want_m = Geod(ellps="WGS84").inv(
            here["longitude"], here["latitude"], first.lon_deg, first.lat_deg
        )
        shown_m = float(far.split()[0]) * (0.3048 if far.endswith("ft") else 1.0)
        assert abs(shown_m - want_m) < 0.5 + 0.004 * want_m
        assert abs((float(bearing.split("°")[0]) - want_bearing + 180) % 360 - 180) < 1
        book = [("bench", "1.500", "", "", ""), ("A", "", "1,25", "", 'soft, "wet"'), ("bench", "", "", "1.501", "")]
        for row in book:
            for name, value in zip(("station", "backsight", "intermediate", "foresight", "remarks"), row, strict=True):
                page.fill(f"#level-form [name={name}]", value)
            page.click("#level-form button")
        for azimuth, height in ((90, 4.5), (180, 12), (270, 3)):
            page.fill("[name=azimuth_deg]", str(azimuth))
            page.fill("[name=elevation_deg]", str(height))
            page.click("#horizon-form button")
        page.reload()  # the phone keeps what was typed
        for name in ("level", "horizon"):
            with page.expect_download() as saved:
                page.click(f"#{name}-save")
            saved.value.save_as(tmp_path / f"{name}.csv")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        assert not [text for text in complaints if "favicon" not in text and "404" not in text]
    rows = parse_level_book((tmp_path / "level.csv").read_text("utf-8"))
    assert [(row.station, row.backsight_m, row.intermediate_m, row.foresight_m) for row in rows] == [
        ("bench", 1.5, None, None), ("A", None, 1.25, None), ("bench", None, None, 1.501)
    ]  # fmt: skip
    readings = read_field_readings(tmp_path / "horizon.csv")
    assert [round(value, 1) for value in readings.elevation_deg] == [4.5, 12.0, 3.0]
