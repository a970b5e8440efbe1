"""A file that cannot be read is not offered as the ground; one that lacks what the page can ask for is."""

from __future__ import annotations

from pathlib import Path

from affine import Affine

from tests.whole_run.files import UTM17, gentle, write_dem
from tunnelsite.desk.files import file_entries
from tunnelsite.desk.project import Project


def test_only_what_can_be_read_is_offered_as_the_ground(tmp_path: Path) -> None:
    (tmp_path / "empty.tif").write_bytes(b"")
    (tmp_path / "letter.tif").write_text("Dear neighbour", "utf-8")
    (tmp_path / "half.geojson").write_text('{"type": "FeatureCollection", "features": [{', "utf-8")
    place = Affine(1, 0, 500000, 0, -1, 4760000)
    write_dem(tmp_path / "tiny.tif", gentle(2, 2), place, UTM17)
    write_dem(tmp_path / "whole.tif", gentle(40, 40), place, UTM17)
    write_dem(tmp_path / "nowhere.tif", gentle(40, 40), place, None)
    found = {one.name: one for one in file_entries(Project(tmp_path), {})}
    assert {name for name, one in found.items() if one.proposed} == {"whole.tif", "nowhere.tif"}
    assert all(found[name].problems for name in ("empty.tif", "letter.tif", "tiny.tif"))
    assert found["half.geojson"].problems == ["it cannot be read: it is damaged, cut off or not what its name says"]
    assert "“Coordinate system” under Ground" in found["nowhere.tif"].problems[0]
