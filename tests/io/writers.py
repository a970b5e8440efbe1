"""One writer of each kind of file, each with a small and a larger content, for tests of what happens when writing fails."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path

import numpy as np

from tests.io.formats.test_cog import some_grid
from tests.io.formats.test_geopackage import some_tables, write
from tests.io.handover_example import write_example
from tests.io.stake_sheet_example import example_sheet
from tunnelsite.core.table import Column, Table
from tunnelsite.io.formats import FORMATS
from tunnelsite.io.formats.cog import write_cog
from tunnelsite.io.formats.csv_table import write_csv
from tunnelsite.io.formats.stake_sheets import write_stake_sheet
from tunnelsite.io.formats.world import world_layer
from tunnelsite.io.read.stored import read_layers
from tunnelsite.io.write.handover import _put, handover_files, piece_of
from tunnelsite.io.write.staging import write_whole

Writer = Callable[[Path, int], None]  # (path, 0 = small or 1 = larger content), replaces what is there
SIZES = (40, 2000)


@cache
def writers() -> dict[str, Writer]:
    """{name of a file: what writes such a file}; contents that take long are made here, once."""
    found: dict[str, Writer] = {"page.html": _page, "table.csv": _table, "layer.tif": _layer, "sites.gpkg": _geopackage}
    for ending in ("gpx", "geojson", "dxf", "html", "csv"):
        found[f"sheet.{ending}"] = partial(_sheet, (example_sheet(), example_sheet(size="40x200ft")))
    return found | _handed_over()


def _page(path: Path, which: int) -> None:
    write_whole(path, "x" * SIZES[which] * 50, overwrite=True)


def _table(path: Path, which: int) -> None:
    write_csv(path, Table({"a": Column(np.arange(SIZES[which]) / 7, "REAL")}), overwrite=True)


def _layer(path: Path, which: int) -> None:
    grid = some_grid(20 + SIZES[which] // 10, 30)
    values = np.random.default_rng(1).normal(size=grid.shape).astype(np.float32)
    write_cog(path, values, grid, unit="m", title="Ground", overwrite=True)


def _geopackage(path: Path, which: int) -> None:
    write(path, some_tables((2, 400)[which]))


def _sheet(sheets, path: Path, which: int) -> None:
    write_stake_sheet(path, sheets[which], overwrite=True)


def _handed_over() -> dict[str, Writer]:
    """A file of each format of `export`; the larger content is the same twice, so it is only for tests that need one."""
    with tempfile.TemporaryDirectory() as folder:
        stored = read_layers(str(write_example(Path(folder) / "sites.gpkg")))
        world = {name: world_layer(name, table, stored.crs) for name, table in stored.places.items()}
        found: dict[str, Writer] = {}
        for what, path in handover_files(stored, Path(folder), [form for form in FORMATS if form != "stac"]).items():
            form, _, layer = what.partition(" ")
            if layer in ("", "candidates"):
                piece = piece_of(stored, world, what)
                found[f"handed-{form}{path.suffix}"] = partial(_put_piece, piece.content(), piece.check)
    return found


def _put_piece(content: bytes | str, check: Callable[[Path], None], path: Path, which: int) -> None:
    _put(path, content, check, overwrite=True)
