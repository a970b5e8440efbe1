"""CSV that a spreadsheet can open without running what a cell says, and that reads back as it was."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from tunnelsite.core.table import Column, Table
from tunnelsite.io.formats.csv_table import write_csv

TABLE = Table(
    {
        "name": Column(['=HYPERLINK("http://x")', "+1", "-1", "@a", "\tb", "\rc", 'd,"e"\nf', None, "ő"], "TEXT"),
        "cut_m": Column([-0.1, 1 / 3, 1e300, np.nan, None, 0, 2, 3, 1e-9], "REAL"),
        "count": Column([-1, None, 2, 3, 4, 5, 6, 7, 8], "INTEGER"),
        "=yes": Column([True, False, None, True, True, True, True, True, True], "BOOLEAN"),
    }
)


def read(path):
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.reader(file))


def test_output_13_words_that_look_like_formulas_are_neutralised_and_numbers_are_not(tmp_path):
    write_csv(tmp_path / "a.csv", TABLE, overwrite=False)
    rows = read(tmp_path / "a.csv")
    assert rows[0] == ["name", "cut_m", "count", "'=yes"]
    assert [row[0] for row in rows[1:]] == [
        "'=HYPERLINK(\"http://x\")", "'+1", "'-1", "'@a", "'\tb", "'\rc", "d,\"e\"\nf", "", "ő",
    ]  # fmt: skip
    assert (
        rows[1][1:] == ["-0.1", "-1", "True"]
        and rows[4][1] == rows[5][1] == ""
        and float(rows[2][1]) == 1 / 3
        and rows[3][3] == ""
    )


def test_output_13_words_can_be_kept_as_they_are(tmp_path):
    write_csv(tmp_path / "a.csv", TABLE, overwrite=False, spreadsheet_safe=False)
    rows = read(tmp_path / "a.csv")
    assert rows[0][3] == "=yes" and [row[0] for row in rows[1:]] == [
        "" if value is None else value for value in TABLE.columns["name"].values
    ]


@pytest.mark.parametrize("count", [0, 1])
def test_short_tables(tmp_path, count):
    write_csv(tmp_path / "a.csv", Table({"a": Column([1.5] * count, "REAL")}), overwrite=False)
    assert read(tmp_path / "a.csv") == [["a"]] + [["1.5"]] * count
