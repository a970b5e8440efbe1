"""Writes a table as CSV (RFC 4180) that a spreadsheet can open without running what a cell says."""

from __future__ import annotations

import csv
import io
import os
from typing import Any

from tunnelsite.core.table import Table, values_and_mask
from tunnelsite.io.write.staging import write_whole

# What spreadsheets take for a formula, with line breaks and full-width forms [@csv-formulas]; a null byte cannot be stored here.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def write_csv(path: str | os.PathLike[str], table: Table, *, overwrite: bool, spreadsheet_safe: bool = True) -> None:
    """Writes a table's columns (not its geometry) as UTF-8 CSV, whole or not at all; not assessed is an empty
    cell.

    Arguments: path; table; overwrite, whether an existing file may be replaced; spreadsheet_safe, whether
    words that a spreadsheet would take for a formula get an apostrophe in front (numbers never do); False
    writes them as they are.
    Errors: OutputFailed; ValueError for a column that breaks its own description.
    """
    write_whole(path, csv_text(table, spreadsheet_safe=spreadsheet_safe), overwrite=overwrite)


def csv_text(table: Table, *, spreadsheet_safe: bool = True) -> str:
    """The text of `write_csv`."""
    cells = []
    for name, column in table.columns.items():
        values, mask = values_and_mask(name, column)
        words = [
            "" if missing else _cell(value, column.kind, spreadsheet_safe)
            for value, missing in zip(values, mask, strict=True)
        ]
        cells.append([_safe(name) if spreadsheet_safe else name, *words])
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(zip(*cells, strict=True))
    return text.getvalue()


def _cell(value: Any, kind: str, spreadsheet_safe: bool) -> str:
    if kind == "TEXT":
        return _safe(value) if spreadsheet_safe else value
    return repr(value.item())  # the shortest digits that read back as the same number


def _safe(words: str) -> str:
    return "'" + words if words.startswith(_FORMULA_STARTS) else words
