"""Reads a finished screening back: one ranked candidate, its design plane, and the run it came from."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.layers import Features
from tunnelsite.io.read.files import layer_of, sha256
from tunnelsite.io.read.vectors import NoSuchLayer, read_columns, read_features

OPTION = "screening"
NEEDED = ("rank", "parcel", "house", "width_m", "length_m", "bearing_deg", "lon", "lat")
# What has to be a number, and between which ends; a file may have been edited by hand in another program.
RANGES = {"width_m": (0, 1e4), "length_m": (0, 1e4), "bearing_deg": (-360, 360), "lon": (-180, 180), "lat": (-90, 90)}
RUN_COLUMNS = ("kind", "name", "value", "detail")


@dataclass(frozen=True)
class ScreenedCandidate:
    """One candidate as a screening wrote it.

    Attributes:
        row: columns of `candidates`. pad: columns of `pads`, empty where the file holds none for it.
        run: rows of the run table (kind, name, value, detail). file: name without folders. sha256: of the file.
    """

    row: dict[str, Any]
    pad: dict[str, Any]
    run: tuple[dict[str, str], ...]
    file: str
    sha256: str = ""

    def settings(self) -> dict[str, str]:
        """The settings of the screening by name, as text."""
        return {row["name"]: row["value"] for row in self.run if row["kind"] == "setting"}

    def bearings(self) -> list[float]:
        """Nominal bearings of the ridges that were tried [deg]."""
        grids = [_number(row["name"].removeprefix("bearing ")) for row in self.run if row["kind"] == "grid"]
        return [bearing for bearing in grids if math.isfinite(bearing)]

    def pad_number(self, name: str) -> float:
        """A number of `pad`, NaN where it is missing or none."""
        return _number(self.pad.get(name))

    def digests(self) -> dict[str, set[str]]:
        """SHA-256 of the inputs, by file name."""
        return digests_of(self.run)


@dataclass(frozen=True)
class FinishedRun:
    """A screening as its GeoPackage tells it: candidates with their columns; settings and inputs (SHA-256) by name; rows of
    the criteria table."""

    candidates: Features
    settings: dict[str, str]
    inputs: dict[str, str]
    criteria: tuple[dict[str, Any], ...] = ()


def read_run(path: str) -> FinishedRun:
    """The candidates and the run table of a screening. Errors: InputRefused for a file that no screening wrote."""
    found = _candidates(path)
    ranks_of(found)
    for k, score in enumerate(found.columns.get("score", ()), 1):
        _check_number(found.name, f"row {k}", "score", score, (0, 100))
    return run_of_tables(found, _run(path, found.name), _criteria(path, found.name))


def run_of_tables(
    candidates: Features, rows: Iterable[Mapping[str, Any]], criteria: Iterable[Mapping[str, Any]]
) -> FinishedRun:
    """A finished run from its tables. Arguments: candidates; rows of the run table; rows of the criteria table."""
    rows = list(rows)
    setting, inputs = (
        {row["name"]: row["value"] for row in rows if row["kind"] == kind} for kind in ("setting", "input")
    )
    return FinishedRun(candidates, setting, inputs, tuple(dict(row) for row in criteria))


def read_run_table(path: str) -> tuple[tuple[dict[str, str], ...], str]:
    """(Rows of the run table, the file's name). Errors: InputRefused for a file that no screening wrote."""
    name = _candidates(path).name
    return _run(path, name), name


def digests_of(run: Iterable[Mapping[str, str]]) -> dict[str, set[str]]:
    """SHA-256 of the inputs by file name. Arguments: rows of a run table."""
    found: dict[str, set[str]] = {}
    for row in run:
        if row["kind"] == "input":
            found.setdefault(row["name"], set()).add(row["value"].removeprefix("sha256 "))
    return found


def _criteria(path: str, name: str) -> tuple[dict[str, Any], ...]:
    """Rows of the criteria table; none where the file holds no such table."""
    try:
        columns = read_columns(path, OPTION, "criteria")
    except LookupError:
        return ()
    return tuple(dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True))


def read_candidate(path: str, rank: int) -> ScreenedCandidate:
    """One candidate of a screening.

    Arguments: path of the GeoPackage; rank, from 1.
    Errors: InputRefused for a file that no screening wrote; UsageError for a rank that is not there.
    """
    row, name = candidate_row(path, rank)
    pads = read_features(path, OPTION, kinds=("polygon",), layer="pads", may_be_empty=True)
    return ScreenedCandidate(row, _row(pads, rank), _run(path, name), name, sha256(layer_of(path)[0]))


def read_option(path: str, rank: int) -> ScreenedCandidate:
    """As `read_candidate`, without the pad."""
    row, name = candidate_row(path, rank)
    return ScreenedCandidate(row, {}, _run(path, name), name, sha256(layer_of(path)[0]))


def check_ranks(path: str, ranks: Iterable[int]) -> None:
    """Errors: UsageError for a rank that the candidates of a screening do not have; InputRefused as `read_run`."""
    found = _candidates(path)
    known = ranks_of(found)
    for rank in ranks:
        _check_rank(rank, known, found.name)


def _check_rank(rank: int, known: Sequence[int], file: str) -> None:
    if rank not in known:
        choose = f"one of the {len(known)} ranks in {file}" if known else "a screening that found a place"
        raise UsageError(f"rank is {rank}", choose, "choose another" if known else "screen again with other limits")


def candidate_row(path: str, rank: int) -> tuple[dict[str, Any], str]:
    """(Columns of one candidate, the file's name). Arguments and errors: as `read_candidate`."""
    found = _candidates(path)
    missing = [name for name in NEEDED if name not in found.columns]
    if missing:
        raise InputRefused(
            f"{OPTION}: the candidates of {found.name} have no column {', '.join(missing)}",
            "the GeoPackage of a screening",
            "name the file that `tunnelsite screen` wrote",
        )
    _check_rank(rank, ranks_of(found), found.name)
    row = _row(found, rank)
    for name, ends in RANGES.items():
        _check_number(found.name, f"candidate {rank}", name, row[name], ends)
    return row, found.name


def ranks_of(found: Features) -> list[int]:
    """The ranks of all candidates. Errors: InputRefused where one is empty, no whole number from 1, or there twice."""
    ranks: dict[int, None] = {}  # in the order of the rows
    for k, value in enumerate(found.columns.get("rank", [None] * len(found)), 1):
        rank = _rank(value)
        if rank is None or rank in ranks:
            what = "no rank" if rank is None else f"the rank {rank} a second time"
            raise InputRefused(
                f"{OPTION}: row {k} of the candidates of {found.name} has {what}",
                "ranks 1, 2, 3 ..., each once",
                "name the file as `tunnelsite screen` wrote it",
            )
        ranks[rank] = None
    return list(ranks)


def _check_number(file: str, which: str, name: str, value: Any, ends: tuple[float, float]) -> None:
    if not ends[0] <= _number(value) <= ends[1]:  # false for NaN too
        raise InputRefused(
            f"{OPTION}: {which} of {file} has {name} {value if isinstance(value, str) else _number(value)}",
            f"{ends[0]:g} to {ends[1]:g}",
            "name the file as `tunnelsite screen` wrote it",
        )


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError):
        return math.nan


def _rank(value: Any) -> int | None:
    number = _number(value)
    return int(number) if number >= 1 and number.is_integer() else None


def _candidates(path: str) -> Features:
    """The layer `candidates` of a screening, or `layout` of a block of houses. Errors: InputRefused where there is neither."""
    for layer in ("candidates", "layout"):
        with contextlib.suppress(NoSuchLayer):
            return read_features(path, OPTION, kinds=("polygon",), layer=layer, may_be_empty=True)
    raise InputRefused(
        f"{path} is not the result of a screening: it has no layer `candidates`",
        "the GeoPackage that `tunnelsite screen`, `layout` or `region` wrote",
        "name that file",
    )


def _row(found: Features, rank: int) -> dict[str, Any]:
    ranks = [_rank(value) for value in found.columns.get("rank", ())]
    if rank not in ranks:
        return {}
    k = ranks.index(rank)
    return {name: values[k] for name, values in found.columns.items()}


def _run(path: str, name: str) -> tuple[dict[str, str], ...]:
    try:
        columns = read_columns(path, OPTION, "run")
    except LookupError:
        given = f"{OPTION}: {name} has no table named run"
        raise InputRefused(
            given, "the GeoPackage of a screening", "name the file that `tunnelsite screen` wrote"
        ) from None
    if any(column not in columns for column in RUN_COLUMNS):
        raise InputRefused(
            f"{OPTION}: the run table of {name} has the columns {', '.join(columns)}",
            ", ".join(RUN_COLUMNS),
            "name the file that `tunnelsite screen` wrote",
        )
    rows = zip(*(columns[column] for column in RUN_COLUMNS), strict=True)
    return tuple(dict(zip(RUN_COLUMNS, ("" if v is None else str(v) for v in row), strict=True)) for row in rows)
