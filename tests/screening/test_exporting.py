"""`export` from Python: a screening at hand and the file it wrote come out the same."""

from __future__ import annotations

import geopandas
import pytest

from tests.decisions.test_explain import HOUSE, SETTINGS, ground_site
from tunnelsite import export, screen
from tunnelsite.core.errors import TunnelsiteError, UsageError


@pytest.fixture(scope="module")
def result():
    return screen(ground_site(), HOUSE, settings=SETTINGS)


def test_a_screening_and_its_file(result, tmp_path):
    here = export(result, tmp_path / "here")
    path = result.write(tmp_path / "sites.gpkg")
    there = export(path, tmp_path / "there", ["csv", "geojson", "gpx", "kml"])
    assert [file.name for file in here.files] == [file.name for file in there.files] and there.source == path
    one, other = (geopandas.read_file(tmp_path / folder / "candidates.geojson") for folder in ("here", "there"))
    assert one["score"].tolist() == other["score"].tolist() == [row["score"] for row in result.rows]
    assert any("7 decimals" in note for note in here.notes)


def test_what_is_there_stays_unless_it_may_be_replaced(result, tmp_path):
    export(result, tmp_path, ["csv"])
    with pytest.raises(TunnelsiteError):
        export(result, tmp_path, ["csv"])
    assert export(result, tmp_path, "csv", overwrite=True).files


def test_formats_and_assets_that_do_not_go(result, tmp_path):
    for formats in (["shape"], [], "geojson,shape"):
        with pytest.raises(UsageError):
            export(result, tmp_path / "x", formats)
    with pytest.raises(UsageError, match="GeoPackage"):
        export(result, tmp_path / "x", ["stac"])
    with pytest.raises(UsageError, match="stac"):
        export(result, tmp_path / "x", ["csv"], assets=[__file__])
    assert not (tmp_path / "x").exists()
