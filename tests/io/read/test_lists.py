"""Lists made by hand: a CSV with feet or metres, GPS waypoints with heights in their names."""

from __future__ import annotations

from pathlib import Path

import pytest

from tunnelsite.core.errors import InputRefused
from tunnelsite.io.read.lists import listed_features


def _csv(tmp_path: Path, text: str):
    path = tmp_path / "trees.csv"
    path.write_text(text)
    return listed_features(path)


def test_feet_become_metres_and_a_crown_its_radius(tmp_path: Path) -> None:
    found = _csv(tmp_path, "lat,lon,height_ft,crown_width_ft,kind\n43.01,-78.15,40,20,deciduous\n").collection[
        "features"
    ][0]
    assert found["geometry"]["coordinates"] == [-78.15, 43.01]
    assert found["properties"] == {"height_m": 12.192, "crown_radius_m": 3.048, "kind": "deciduous"}


@pytest.mark.parametrize(
    "text", ["Latitude;Longitude;Height m\n43,01;-78,15;12,5\n", "lat\tlon\theight\n43.01\t-78.15\t12.5 m\n"]
)
def test_other_habits_of_writing_are_read(tmp_path: Path, text: str) -> None:
    found = _csv(tmp_path, text).collection["features"][0]
    assert found["properties"]["height_m"] == 12.5


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("x,z\n1,2\n", "lat and lon"),
        ("lat,lon,height\n43,-78,40\n", "unit"),
        ("lat,lon\n99,-78\n", "lat -90 to 90"),
        ("lat,lon\nhere,-78\n", "decimal degrees"),
        ("lat,lon,height_ft\n43,-78,-4\n", "0 to 500"),
        ("", "empty"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_with_its_row(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        _csv(tmp_path, text)


def test_waypoints_carry_heights_in_name_or_comment(tmp_path: Path) -> None:
    path = tmp_path / "walk.gpx"
    wpt = '<wpt lat="43.01" lon="-78.15"><name>{}</name><cmt>{}</cmt></wpt>'
    body = wpt.format("maple 40 ft", "") + wpt.format("W2", "spruce, 15 m high") + wpt.format("gate", "")
    path.write_text(
        f'<?xml version="1.0"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">{body}</gpx>'
    )
    found = listed_features(path)
    heights = [one["properties"].get("height_m") for one in found.collection["features"]]
    assert heights == [12.192, 15.0, None]
    assert "1 of 3 waypoints" in found.notes[0]
