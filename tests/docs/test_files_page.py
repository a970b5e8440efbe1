"""docs/files.md names every layer, column and file there is; a finished screening is pleasant and true to the standards."""

from __future__ import annotations

import contextlib
import re
import sqlite3
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio

from tests.docs.conftest import DOCS
from tests.io.geopackage_requirements import broken_requirements
from tunnelsite.core.table import TEXT
from tunnelsite.io.formats import FORMATS
from tunnelsite.plans.grading.layers import AREA_COLUMNS, LINE_COLUMNS, STATION_COLUMNS
from tunnelsite.plans.layout.layers import TRENCH_COLUMNS
from tunnelsite.screening.saving import raster_layers, write_rasters
from tunnelsite.settings.model import Settings

PAGE = (DOCS / "files.md").read_text("utf-8")


def section(name: str) -> str:
    return re.search(rf"^### {name}\b.*?(?=^##)", PAGE, re.M | re.S).group(0)


def test_every_column_of_a_screening_is_on_the_page(first_screening) -> None:
    with contextlib.closing(sqlite3.connect(first_screening.folder / "sites.gpkg")) as database:
        for table in ("candidates", "pads", "stakes", "rejections", "criteria", "run"):
            text = section(table)
            for _, name, *_ in database.execute(f"PRAGMA table_info({table})").fetchall():
                known = re.sub(r"^score_.*", "score_<criterion>", re.sub(r"^reach_.*_m$", "reach_<service>_m", name))
                assert name in ("fid", "geom") or f"| `{known}` |" in text, (table, name)


def test_every_column_of_plans_every_format_and_raster_is_on_the_page() -> None:
    pages = {
        "lines": LINE_COLUMNS,
        "areas": AREA_COLUMNS,
        "stations": STATION_COLUMNS,
        "layout and trenches": TRENCH_COLUMNS,
    }
    for name, columns in pages.items():
        for column, about in columns.items():
            assert (
                f"| `{column}` | {about.unit or ('text' if about.kind == TEXT else '')} | {about.title} |"
                in section(name)
            )
    assert all(f"| `{form}` |" in PAGE for form in FORMATS) and all(
        f"`{name}`" in PAGE for name in raster_layers(Settings())
    )


def test_the_file_of_a_real_screening_keeps_to_the_standard(first_screening) -> None:
    assert broken_requirements(first_screening.folder / "sites.gpkg") == []


def test_lineage_in_the_order_of_the_standard(first_screening) -> None:
    """ISO 19139 (gmd.xsd, LI_Lineage_Type and its parts): statement, then process steps, then sources; each step and
    source has a description of one character string [@gdal-metadata]."""
    etree = pytest.importorskip("lxml.etree")
    with contextlib.closing(sqlite3.connect(first_screening.folder / "sites.gpkg")) as database:
        rows = database.execute(
            "SELECT metadata FROM gpkg_metadata m JOIN gpkg_metadata_reference ON md_file_id = m.id "
            "WHERE md_standard_uri = 'http://www.isotc211.org/2005/gmd' AND reference_scope = 'geopackage'"
        ).fetchall()
        inputs = database.execute("SELECT name, value FROM run WHERE kind = 'input'").fetchall()
    assert len(rows) == 1
    root = etree.fromstring(rows[0][0].encode())
    spaces = {"gmd": "http://www.isotc211.org/2005/gmd", "gco": "http://www.isotc211.org/2005/gco"}
    assert root.tag == f"{{{spaces['gmd']}}}LI_Lineage"
    kinds = [etree.QName(child).localname for child in root]
    order = ["statement", "processStep", "source"]
    assert kinds == sorted(kinds, key=order.index) and kinds.count("statement") == 1 and "processStep" in kinds
    for child in root.findall("gmd:processStep", spaces) + root.findall("gmd:source", spaces):
        assert len(child) == 1 and etree.QName(child[0]).localname == {
            "processStep": "LI_ProcessStep", "source": "LI_Source",
        }[etree.QName(child).localname]  # fmt: skip
        assert child[0].findtext("gmd:description/gco:CharacterString", namespaces=spaces)
    words = [node.text for node in root.findall("gmd:source//gco:CharacterString", spaces)]
    assert words == [f"{name}, {value}" for name, value in inputs]


def test_every_column_has_words_and_every_layer_a_style(first_screening) -> None:
    with contextlib.closing(sqlite3.connect(first_screening.folder / "sites.gpkg")) as database:
        silent = database.execute(
            "SELECT c.table_name, p.name FROM gpkg_contents c, pragma_table_info(c.table_name) p "
            "LEFT JOIN gpkg_data_columns d ON d.table_name = c.table_name AND d.column_name = p.name "
            "WHERE c.table_name != 'layer_styles' AND p.name NOT IN ('fid', 'geom') AND coalesce(d.title, '') = ''"
        ).fetchall()
        styled = {row[0] for row in database.execute("SELECT f_table_name FROM layer_styles")}
        spatial = {row[0] for row in database.execute("SELECT table_name FROM gpkg_geometry_columns")}
        first = database.execute("SELECT table_name FROM gpkg_contents ORDER BY rowid LIMIT 1").fetchone()
        ranks = database.execute("SELECT rank FROM candidates ORDER BY fid").fetchall()
    assert not silent and styled == spatial and first == ("candidates",)
    assert [rank for (rank,) in ranks] == list(range(1, len(ranks) + 1))


def test_geopandas_opens_the_ranking_without_being_told_a_layer(first_screening) -> None:
    with pytest.warns(UserWarning, match="(?i)layer"):  # pyogrio says that it took the first of several
        found = geopandas.read_file(first_screening.folder / "sites.gpkg")
    assert found["rank"].tolist() == list(range(1, len(found) + 1)) and found["night_lux"].isna().all()


def test_rasters_are_valid_to_another_program(first_screening, tmp_path: Path) -> None:
    """rio-cogeo (strict: no warning either), on the layers of a real run."""
    cogeo = pytest.importorskip("rio_cogeo")
    written = write_rasters(first_screening.names["result"], tmp_path, overwrite=False)
    frame = first_screening.names["result"].frame
    assert {path.stem for path in written} == frame.layers.keys() and len(written) > 15
    for path in written:
        valid, errors, warnings = cogeo.cog_validate(path, strict=True)
        assert valid and not errors and not warnings, path.name
        with rasterio.open(path) as file:
            tags = file.tags(1)
            assert file.tags()["layer"] == path.stem and file.units[0] == frame.units[path.stem]
            assert file.units[0] and file.descriptions[0] and path.with_suffix(".sld").exists()
            values = file.read(1, masked=True)
            assert float(tags["STATISTICS_MAXIMUM"]) == pytest.approx(float(values.max()))
            if path.stem == "water_like":  # yes or no, in the overviews too
                with rasterio.open(path, overview_level=0) as coarse:
                    assert set(np.unique(coarse.read(1, masked=True).compressed())) <= {0.0, 1.0}
            assert file.overviews(1) == ([2] if max(file.shape) > 512 else [])
