"""A table of results: rows in, columns of a stated kind, rows out; unknown stays None."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely

from tunnelsite.core.table import BOOLEAN, INTEGER, REAL, TEXT, Column, Heading, Places, Table, table_of

HEADINGS = {"rank": Heading(INTEGER, "rank"), "cut_m": Heading(REAL, "cut", "m"), "note": Heading(TEXT)}


def test_rows_come_back_as_plain_values_and_unknown_as_none() -> None:
    rows = [
        {"rank": np.int64(1), "cut_m": np.float32(0.5), "note": "a", "unlisted": 9},
        {"rank": None, "cut_m": np.nan},
    ]
    found = table_of("pads", "Pads", HEADINGS, rows)
    assert found.rows == [{"rank": 1, "cut_m": 0.5, "note": "a"}, {"rank": None, "cut_m": None, "note": None}]
    assert [type(value) for value in found.rows[0].values()] == [int, float, str]
    assert (found.name, found.title, found.headings, len(found)) == ("pads", "Pads", HEADINGS, 2)


def test_no_rows_keep_their_columns_and_kinds() -> None:
    found = table_of("pads", "Pads", HEADINGS, [])
    assert found.headings == HEADINGS and found.rows == [] and len(found) == 0


def test_other_rows_have_the_same_columns() -> None:
    found = table_of("run", "Run", HEADINGS, [{"rank": 1}])
    more = found.with_rows([*found.rows, {"rank": 2, "note": "b"}])
    assert more.values("rank") == [1, 2] and more.values("note") == [None, "b"] and more.headings == HEADINGS


def test_places_go_with_their_rows() -> None:
    crs = pyproj.CRS("EPSG:32617")
    found = table_of("stakes", "Stakes", HEADINGS, [{"rank": 1}], Places([shapely.Point(1, 2)], "Point", crs))
    assert found.geometry_kind == "Point" and found.crs == crs and len(found.geometry) == 1


@pytest.mark.parametrize(
    ("kind", "values"),
    [(INTEGER, [1.5]), (REAL, ["high"]), (REAL, [np.inf]), (BOOLEAN, [2]), (INTEGER, [np.nan, "x"])],
)
def test_a_value_of_another_kind_is_refused(kind: str, values: list) -> None:
    with pytest.raises(ValueError, match="column 'a'"):
        Table({"a": Column(values, kind)}).values("a")


def test_what_is_no_table_is_refused() -> None:
    with pytest.raises(ValueError, match="unequal"):
        Table({"a": Column([1], INTEGER), "b": Column([1, 2], INTEGER)})
    with pytest.raises(ValueError, match="unequal"):
        table_of("a", "a", HEADINGS, [{}], Places([], "Point", pyproj.CRS(4326)))
    with pytest.raises(ValueError, match="kind of geometry"):
        Table({"a": Column([1], INTEGER)}, [shapely.Point(0, 0)], "Circle")
    with pytest.raises(ValueError, match="kind of column"):
        Heading("real")
    with pytest.raises(ValueError, match="kind of column"):
        Column([1], "number")
