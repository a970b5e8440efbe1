"""Whatever file a run reads is told with its SHA-256, and a region is done anew where one has changed, wherever it is named."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import numpy as np
import pyproj
import pytest

from tests.io.rasters_made import hill, write
from tests.whole_run.files import gentle, plain_farm
from tunnelsite import House, Settings, read_site, screen
from tunnelsite.core import catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.describe import Description, Parameter
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.rubric import Rubric
from tunnelsite.io.read.named_files import named_files
from tunnelsite.io.read.raster_header import raster_header
from tunnelsite.io.read.site import inputs_unchanged, site_from
from tunnelsite.region.inputs import read_region
from tunnelsite.region.screened import RegionPlan, planned
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.screening.run_table import input_rows
from tunnelsite.settings.model import settings_from


@pytest.fixture
def farm(tmp_path) -> tuple[Path, Path]:
    return plain_farm(tmp_path, gentle(60, 70))


def asked(farm, **parameters) -> Settings:
    return settings_from({"dem": str(farm[0]), "parcels": str(farm[1]), "parameter": {"clay": parameters}})


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    "form", ["{}", "{}#layer", "a.tif, {}", "{};b.tif"], ids=["file", "layer", "commas", "semicolons"]
)
def test_a_file_that_a_parameter_names_is_an_input(farm, tmp_path, form) -> None:
    clay = tmp_path / "clay.tif"
    clay.write_bytes(b"one")
    site = site_from(asked(farm, raster=form.format(clay), share=0.5, word="clay"))
    rows = [row for row in input_rows(site) if row["name"] == "clay.tif"]
    assert [row["value"] for row in rows] == [f"sha256 {digest(clay)}", "named by the parameter clay.raster"]
    inputs_unchanged(site)
    clay.write_bytes(b"two")
    with pytest.raises(InputRefused, match=r"clay\.tif has changed"):
        inputs_unchanged(site)


def test_a_folder_counts_with_all_its_files(tmp_path) -> None:
    folder = tmp_path / "tiles"
    folder.mkdir()
    (folder / "a.tif").write_bytes(b"a")
    seen = set()
    for change in (
        lambda: None,
        lambda: (folder / "a.tif").write_bytes(b"b"),
        lambda: (folder / "b.tif").write_bytes(b""),
    ):
        change()
        found = named_files({"clay": {"tiles": [str(folder)]}})
        seen.add(found[0].sha256)
    assert len(seen) == 3 and named_files({"clay": {"word": "tiles", "none": "", "long": "x" * 5000}}) == ()


def test_a_region_is_done_anew_where_such_a_file_has_changed(farm, tmp_path) -> None:
    clay = tmp_path / "clay.tif"
    clay.write_bytes(b"one")
    settings = asked(farm, raster=str(clay))

    def keys() -> list[str]:
        return [task.key for task in planned(read_region(settings), settings, RegionPlan())[0]]

    before = keys()
    os.utime(clay)
    assert keys() == before  # the same content
    clay.write_bytes(b"two")
    assert keys() != before
    assert ("clay.tif", digest(clay)) in read_region(settings).digests  # and so in the manifest and the run table


def test_a_region_is_done_anew_where_a_part_of_a_file_has_changed(tmp_path) -> None:
    _, parcels = plain_farm(tmp_path, gentle(60, 70))
    tiles = tmp_path / "dem.asc"
    cells = "\n".join(" ".join(f"{value:.2f}" for value in row) for row in gentle(60, 70))
    tiles.write_text(f"ncols 70\nnrows 60\nxllcorner 500000\nyllcorner 4499940\ncellsize 1\n{cells}\n")
    settings = settings_from({"dem": str(tiles), "parcels": str(parcels)})

    def key(epsg: int) -> str:
        tiles.with_suffix(".prj").write_text(pyproj.CRS(epsg).to_wkt("WKT1_ESRI"))
        return planned(read_region(settings), settings, RegionPlan())[0][0].key

    assert key(32617) == key(32617) != key(26917)


def test_what_says_where_a_raster_lies_is_told_with_its_digest(tmp_path) -> None:
    path = write(tmp_path / "w.tif", hill(5, 6), transform=None)
    world = path.with_suffix(".tfw")
    world.write_text("1\n0\n0\n-1\n500000.5\n4599999.5\n")
    assert f"place taken from 'w.tfw', SHA-256 {digest(world)}" in raster_header(path).notes


def measure(site, *, raster: str) -> np.ndarray:
    """A criterion of a plug-in that reads a file of its own."""
    return np.full(site.feasible().shape, len(Path(raster).read_bytes()), np.float32)


def test_python_and_a_kept_run_tell_it_too(farm, tmp_path, monkeypatch) -> None:
    about = Description(
        id="clay", title="clay", text="Share of clay.", unit="1", parameters=(Parameter("raster", "its file", ""),)
    )
    offered = [*catalogue.criteria(), Criterion(about, measure, {"any": Rubric(5.0, 0.0)})]
    monkeypatch.setattr(catalogue, "criteria", lambda report=None: offered)
    clay = tmp_path / "clay.tif"
    clay.write_bytes(b"one")
    settings = Settings(halo_m=5.0, azimuths=8, top=1, parameter={"clay": {"raster": str(clay)}})
    site = read_site(str(farm[0]), str(farm[1]))
    result = screen(site, House(6.0, 15.0), settings=settings)
    told = [row for row in result.tables["run"].rows if row["kind"] == "input"]
    assert ("clay.tif", f"sha256 {digest(clay)}") in [(row["name"], row["value"]) for row in told]
    keep_run(result, tmp_path / "k.npz", overwrite=False)
    again = kept_run(tmp_path / "k.npz")
    rows = again.tables["run"].rows
    assert ("clay.tif", f"sha256 {digest(clay)}") in [(row["name"], row["value"]) for row in rows]
    assert any(f"k.npz, SHA-256 {digest(tmp_path / 'k.npz')}" in str(row["value"]) for row in rows)
    assert np.isfinite(again.rows[0]["score"])
