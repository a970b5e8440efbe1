"""What lies under the map: chosen by the user, an address only where it is turned on, and the policy of the page follows."""

from __future__ import annotations

import asyncio
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from starlette.testclient import TestClient

from tests.desk.fields import FARM
from tests.io.read.test_background import LAT, LON, mbtiles, picture, png, tile_at
from tunnelsite.core.errors import TunnelsiteError, UsageError
from tunnelsite.desk.answers import Missing
from tunnelsite.desk.background import BackgroundAsked, Backgrounds, origin_of, pictures
from tunnelsite.desk.gate import Gate
from tunnelsite.desk.project import Project
from tunnelsite.desk.roles import proposed
from tunnelsite.desk.runs import OptionsFile
from tunnelsite.io.read.file_facts import file_facts

ADDRESS = "https://tiles.example.org/aerial/{z}/{x}/{y}.png"


def backgrounds(folder: Path) -> Backgrounds:
    project = Project(folder)
    return Backgrounds(SimpleNamespace(project=project, kept=OptionsFile(project)))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "farm.toml").write_text(FARM, "utf-8")
    column, row = tile_at(LON, LAT)
    mbtiles(tmp_path / "tiles.mbtiles", {(17, column, 2**17 - 1 - row): png()}, bounds="-79,42,-78,44")
    picture(tmp_path / "aerial.tif", np.full((3, 60, 60), 9, np.uint8))
    picture(tmp_path / "dem.tif", np.ones((1, 60, 60), np.float32))
    return tmp_path


def test_pictures_of_the_folder_are_offered_and_are_no_ground(folder: Path) -> None:
    assert pictures(folder) == ["aerial.tif", "tiles.mbtiles"]
    assert proposed(folder / "aerial.tif", file_facts(folder / "aerial.tif"), {}) == (None, "")
    assert proposed(folder / "dem.tif", file_facts(folder / "dem.tif"), {})[0] == "dem"


@pytest.mark.parametrize("name", ["tiles.mbtiles", "aerial.tif"])
def test_file_is_shown_again_when_the_desk_starts_anew(folder: Path, name: str) -> None:
    backgrounds(folder).choose(BackgroundAsked(file=name))
    again = backgrounds(folder)
    shown = again.shown()
    assert shown.asked.file == name and shown.url.startswith("/api/background/{z}") and not again.origin
    assert shown.bounds.west < LON < shown.bounds.east
    tile = asyncio.run(again.tile(17, *tile_at(LON, LAT)))
    assert tile.kind == "image/png"
    with pytest.raises(Missing):
        asyncio.run(again.tile(17, 0, 0))


def test_address_is_off_until_it_is_turned_on_and_off_again_when_the_desk_starts_anew(folder: Path) -> None:
    found = backgrounds(folder)
    assert (found.shown().url, found.origin) == ("", "")
    found.choose(BackgroundAsked(address=ADDRESS, credit="Survey of 2024"))
    assert (found.shown().url, found.origin) == ("", "")
    found.choose(BackgroundAsked(address=ADDRESS, on=True))
    assert (found.shown().url, found.origin) == (ADDRESS, "https://tiles.example.org")
    again = backgrounds(folder)
    assert (again.shown().url, again.origin, again.shown().asked.address) == ("", "", ADDRESS)
    found.choose(BackgroundAsked(file="tiles.mbtiles", address=ADDRESS, on=True))
    assert found.origin == ""


@pytest.mark.parametrize(
    "address",
    ["tiles.example.org/{z}/{x}/{y}", "ftp://a/{z}/{x}/{y}", "https://a;img-src */{z}/{x}/{y}", "https://u:p@a.org/{z}/{x}/{y}",
     "https://a.org/{z}/{x}", "https://{z}.org/{x}/{y}", "javascript:{z}{x}{y}", "https://[a/{z}/{x}/{y}", "https://a.org:x/{z}/{x}/{y}"],
)  # fmt: skip
def test_other_addresses_are_refused(folder: Path, address: str) -> None:
    with pytest.raises(UsageError):
        backgrounds(folder).choose(BackgroundAsked(address=address, on=True))


@pytest.mark.parametrize(
    ("address", "origin"),
    [(ADDRESS, "https://tiles.example.org"), ("http://127.0.0.1:8080/{z}/{x}/{y}?k={z}", "http://127.0.0.1:8080"),
     ("https://bücher.example/{z}/{x}/{y}", "https://xn--bcher-kva.example")],
)  # fmt: skip
def test_origin_is_that_of_the_address(address: str, origin: str) -> None:
    """The second name is the example of Punycode in RFC 3492 and its errata: bücher is xn--bcher-kva."""
    assert origin_of(address) == origin


@pytest.mark.parametrize("name", ["../tiles.mbtiles", "/etc/passwd", "farm.toml", "none.mbtiles", "dem.tif"])
def test_other_files_are_refused_and_nothing_is_changed(folder: Path, name: str) -> None:
    found = backgrounds(folder)
    with pytest.raises(TunnelsiteError):
        found.choose(BackgroundAsked(file=name))
    assert found.shown().asked.file == ""


def test_policy_of_the_page_names_the_one_origin_while_it_is_on() -> None:
    origin = ["", "https://tiles.example.org"]

    async def app(scope, receive, send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    gate = Gate(app, "a-token-for-tests-alone", 80, pictures=lambda: origin[0])
    client = TestClient(
        gate,
        base_url="http://127.0.0.1:80",
        cookies={"desk-80": "a-token-for-tests-alone"},
        headers={"host": "127.0.0.1:80"},
    )

    def policy(path: str) -> dict[str, str]:
        words = client.get(path).headers["content-security-policy"]
        return {part.split()[0]: part for part in words.split("; ")}

    off = policy("/")
    origin.reverse()
    on = policy("/")
    assert {name for name in on if on[name] != off[name]} == {"img-src"}
    assert on["img-src"] == f"{off['img-src']} https://tiles.example.org"
    assert "example" not in " ".join(policy("/files/packet/index.html").values())
