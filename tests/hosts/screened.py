"""A small screened farm, and level books made from known heights, for the commands that go on from a screening."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from tests.whole_run.files import plain_farm
from tunnelsite.hosts.cli.main import main

HOUSE = "6x15m"


def screened_farm(folder: Path, heights: np.ndarray | None = None, *words: str) -> tuple[str, str, str]:
    """(DEM, parcels, sites.gpkg) of a field that was screened for a small house."""
    return screened(folder, *plain_farm(folder, heights), *words)


def screened(folder: Path, dem: Path, parcels: Path, *words: str) -> tuple[str, str, str]:
    """The same of files that are there."""
    sites = folder / "sites.gpkg"
    done = main(
        [
            "screen",
            str(dem),
            str(parcels),
            "--house",
            HOUSE,
            "--out",
            str(sites),
            "--top",
            "3",
            "--azimuths",
            "8",
            "-q",
            *words,
        ]
    )
    assert done == 0
    return str(dem), str(parcels), str(sites)


def tilted(along: float, across: float, rows: int = 90, cols: int = 110) -> np.ndarray:
    """A plane: rises to the east and to the north as fractions, exact in single precision to 0.02 mm."""
    r, c = np.mgrid[0:rows, 0:cols]
    return (200.0 + along * (c - cols / 2) - across * (r - rows / 2)).astype(np.float32)


def asked(capsys, *words: str) -> dict:
    """What a command says with --json. The exit status has to be 0."""
    capsys.readouterr()
    status = main([*words, "--json", "-q"])
    said = capsys.readouterr()
    assert status == 0, said.err
    return json.loads(said.out)


def refused(capsys, *words: str) -> tuple[int, str]:
    """(exit status, message) of a command that does not run."""
    capsys.readouterr()
    return main([*words, "-q"]), capsys.readouterr().err


def level_book(heights_m: dict[str, float], bench_m: float, misclosure_m: float = 0.0) -> str:
    """A level book in metres: one set-up, from BM over every station and back."""
    instrument = bench_m + 1.6
    rows = ["station,backsight,intermediate,foresight,remarks", "BM,1.600,,,start"]
    rows += [f'"{station}",,{instrument - height:.4f},,' for station, height in heights_m.items()]
    return "\n".join([*rows, f"BM,,,{1.6 - misclosure_m:.4f},back"]) + "\n"
