"""What the page may ask to be fetched, and how it becomes the request of `gather`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.desk.fields import field_project
from tests.gather.made import EAST, LAT, LON, NORTH, middle_deg, tiff
from tests.io.fetch.servers import Site, serving
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.desk.gather_files import sources_of
from tunnelsite.desk.gather_messages import FeaturesAsked, GatherAsked
from tunnelsite.desk.gathering import gathered, planned, request_of
from tunnelsite.desk.project import Project
from tunnelsite.io.read.vectors import read_features

HERE = f"{LAT}, {LON}:60m"
PLACE = "https://data.example.org/ground.tif"


def _nothing(message: dict) -> None:
    """Hears progress."""


def test_a_source_is_a_name_of_the_folder_or_an_address(tmp_path: Path) -> None:
    (tmp_path / "sources.toml").write_text(f'[relief]\nkind = "raster"\naddress = "{PLACE}"\nunit = "ft"\n', "utf-8")
    project = Project(tmp_path)
    assert list(sources_of(project)) == ["relief"]
    by_name, by_address = (request_of(project, GatherAsked(circle=HERE, ground=text)) for text in ("relief", PLACE))
    assert by_name.ground.address == by_address.ground.address == PLACE
    assert (by_name.ground.unit, by_address.ground.unit) == ("ft", "")
    assert request_of(project, GatherAsked(circle=HERE, ground=PLACE, unit="us-ft")).ground.unit == "us-ft"
    with pytest.raises(UsageError, match="relief"):
        request_of(project, GatherAsked(circle=HERE, ground="releif"))


def test_round_the_fields_reaches_as_far_as_the_land_asked_for(tmp_path: Path) -> None:
    project = field_project(tmp_path)
    near, far = (request_of(project, GatherAsked(ground=PLACE, halo=halo)).area for halo in ("0m", "300m"))
    fields = read_features(str(tmp_path / "parcels.gpkg"), "parcels")
    assert fields.crs.to_epsg() is not None
    assert near.south_deg - far.south_deg == pytest.approx(300 / 111_000, rel=0.01)
    assert far.west_deg < near.west_deg < near.east_deg < far.east_deg
    with pytest.raises(UsageError, match="no field yet"):
        request_of(Project(tmp_path / "elsewhere"), GatherAsked(ground=PLACE))


@pytest.mark.parametrize("role", ["ground", "../etc", "a b", ""])
def test_features_never_become_another_file(tmp_path: Path, role: str) -> None:
    asked = GatherAsked(
        circle=HERE, features=[FeaturesAsked(role=role, source="https://data.example.org/collections/x")]
    )
    with pytest.raises(InputRefused):
        request_of(Project(tmp_path), asked)


def test_what_is_there_is_replaced_only_where_that_is_asked(tmp_path: Path) -> None:
    project = Project(tmp_path)
    (tmp_path / "ground.tif").write_bytes(b"mine")
    with serving(Site({"/ground.tif": tiff(EAST - 256, NORTH + 256, 512)})) as site:
        east, north = middle_deg()
        asked = GatherAsked(circle=f"{north}, {east}:60m", halo="0m", ground=f"{site.address}/ground.tif")
        assert planned(project, asked)["replaces"] == ["ground.tif"]
        with pytest.raises(UsageError, match="in the folder already"):
            gathered(project, asked, _nothing)
        assert (tmp_path / "ground.tif").read_bytes() == b"mine"
        (found,) = gathered(project, asked.model_copy(update={"replace": True}), _nothing)
    assert (found["name"], found["role"]) == ("ground.tif", "dem")
    assert (tmp_path / "ground.tif").read_bytes() != b"mine"
