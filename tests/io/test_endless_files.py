"""Small files that would keep a reader busy without end: each is refused within seconds, and the message says what there is too much of."""

from __future__ import annotations

import contextlib
import sqlite3
import time
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from tests.io.handover_example import write_example
from tests.io.read.test_vectors import save
from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.io.read.sites_file import read_run
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.read.vectors import read_features
from tunnelsite.settings.project_file import project_settings

ENDLESS = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n)"
ENOUGH_S = 30.0  # on a busy machine; without a bound each takes minutes to years


@pytest.fixture(autouse=True)
def in_time():
    start = time.monotonic()
    yield
    assert time.monotonic() - start < ENOUGH_S


def edited(path: Path, *statements: str) -> Path:
    with contextlib.closing(sqlite3.connect(path)) as database:
        for statement in statements:
            database.execute(statement)
        database.commit()
    return path


def test_a_view_with_an_endless_query(tmp_path) -> None:
    path = edited(
        save(tmp_path / "v.gpkg", [box(0, 0, 1, 1)], "EPSG:4326", layer="lots"),
        f"CREATE VIEW more AS {ENDLESS} SELECT x AS fid, geom FROM n, lots",
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('more', 'features', 'more', 4326)",
        "INSERT INTO gpkg_geometry_columns VALUES ('more', 'geom', 'POLYGON', 4326, 0, 0)",
    )
    with pytest.raises(InputRefused, match=r"'more' is a view.*Expected: a plain table.*new GeoPackage"):
        read_features(f"{path}#more", "PARCELS")
    assert len(read_features(f"{path}#lots", "PARCELS")) == 1  # it does nothing as long as nobody asks for it


def test_an_endless_view_in_place_of_a_table_of_a_screening(tmp_path) -> None:
    table = "candidates"
    path = write_example(tmp_path / "s.gpkg")
    edited(
        path,
        f"ALTER TABLE {table} RENAME TO old",
        f"CREATE VIEW {table} AS {ENDLESS} SELECT old.* FROM n, old",
        f"UPDATE gpkg_contents SET table_name = '{table}' WHERE table_name = 'old'",
    )
    for reader in (read_layers, read_run):
        with pytest.raises(InputRefused, match="is a view"):
            reader(str(path))


def test_a_catalogue_that_is_a_query(tmp_path) -> None:
    path = edited(
        save(tmp_path / "c.gpkg", [box(0, 0, 1, 1)], "EPSG:4326"),
        "ALTER TABLE gpkg_contents RENAME TO old",
        f"CREATE VIEW gpkg_contents AS {ENDLESS} SELECT old.* FROM n, old",
    )
    with pytest.raises(InputRefused, match="'gpkg_contents' is a view"):
        read_features(path, "PARCELS")


def test_computed_columns_and_virtual_tables(tmp_path) -> None:
    computed = edited(
        save(tmp_path / "g.gpkg", [box(0, 0, 1, 1)], "EPSG:4326", layer="lots"),
        "ALTER TABLE lots ADD COLUMN bomb AS (zeroblob(1000000000)) VIRTUAL",
    )
    with pytest.raises(InputRefused, match="computed columns"):
        read_features(computed, "PARCELS")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (".".join(["a"] * 200_000) + " = 1\n", r":1: 199,999 dots in one line"),
        ("top = 3\nx = {" + ".".join(["a"] * 100_000) + " = 1}\n", r":2: 99,999 dots in one line"),
        ("x = " + "[" * 200_000, "Expected: TOML"),
        ("\n".join("[" + ".".join(["a"] * k) + "]" for k in range(1, 190)), "unknown setting"),
    ],
)
def test_a_project_file_nested_without_end(tmp_path, text, words) -> None:
    path = tmp_path / "farm.toml"
    path.write_text(text)
    with pytest.raises(UsageError, match=words):
        project_settings(path)


def ring(corners: int, noise: float) -> shapely.Polygon:
    """A circle whose corners lie off it at random, along the radius: valid, but each edge overlaps thousands of others."""
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = 0.001 * (1 + noise * np.random.default_rng(1).normal(size=corners))
    return shapely.Polygon(np.column_stack([7 + radius * np.cos(turn), 45 + radius * np.sin(turn)]))


def test_an_outline_of_a_million_noisy_corners(tmp_path) -> None:
    path = save(tmp_path / "n.fgb", [ring(1_000_000, 0.05)], "EPSG:4326")
    with pytest.raises(ResourceShortage, match=r"feature 0 has 1,000,001 corners and runs to and fro [\d,]+ times"):
        read_features(path, "PARCELS")


def test_an_outline_that_crosses_itself_without_end(tmp_path) -> None:
    points = np.random.default_rng(1).random((1500, 2)) * 0.001 + [7, 45]
    with pytest.raises(ResourceShortage, match="crosses itself too often"):
        read_features(save(tmp_path / "t.gpkg", [shapely.Polygon(points)], "EPSG:4326"), "PARCELS")


def test_a_fine_outline_of_many_corners_is_read(tmp_path) -> None:
    assert len(read_features(save(tmp_path / "f.fgb", [ring(300_000, 0.0)], "EPSG:4326"), "PARCELS")) == 1
