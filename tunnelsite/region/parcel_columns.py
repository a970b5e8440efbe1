"""The columns of the layer `parcels`: of the parcels' own file, of the whole parcel, and of each house size."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from tunnelsite.core.layers import Features
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading
from tunnelsite.region.by_parcel import QUANTILES, quantile_name

SCREENED, FAILED, NO_DATA = "screened", "failed", "no data"
PARCEL_COLUMNS = {
    "parcel": Heading(TEXT, "name of the parcel"),
    "task": Heading(INTEGER, "task in which it was screened"),
    "state": Heading(TEXT, "screened, failed, or no data: not one height of the elevation model lies in it"),
    "reason": Heading(TEXT, "why it failed, or why there is no data"),
    "known_pct": Heading(
        REAL, "share of the parcel in which the elevation model holds heights: no house is looked for elsewhere", "%"
    ),
    "candidates": Heading(INTEGER, "candidates listed"),
    "tried": Heading(INTEGER, "placements tried, over all houses and bearings"),
    "passed": Heading(INTEGER, "placements that passed every limit"),
    "centres_m2": Heading(REAL, "area of the places where the centre of a house may lie, of what is known", "m2"),
    "best_score": Heading(REAL, "score of the best placement", "0-100"),
} | {
    quantile_name(name, share): Heading(REAL, f"{title}: quantile {share:g} over placements that passed", unit)
    for name, title, unit in (
        ("score", "score", "0-100"),
        ("pitch_pct", "steeper pitch of the ground, NULL where the model's cells are too wide for the house", "%"),
        ("beam_share", "beam energy received / received with a flat horizon", "0-1"),
        ("beam_share_worst", "the same in the darkest crop month", "0-1"),
    )
    for share in QUANTILES
}
HOUSE_COLUMNS = {
    "feasible": Heading(
        INTEGER,
        "1 = a place passes every limit, 0 = none does, NULL = none where heights are known, and the rest might hold one",
    ),
    "best_score": Heading(REAL, "score of the best place", "0-100"),
    "footprints_m2": Heading(REAL, "land that a house may cover: union of the footprints", "m2"),
    "pads_m2": Heading(REAL, "land that its graded pad may cover: union of the pads", "m2"),
    "options": Heading(
        INTEGER, "places that stand apart from one another, at most as many as candidates were asked for"
    ),
}
NOT_OURS = {"fid", "ogc_fid", "geom", "geometry", "shape"}  # of the file format, not of the parcels


def house_column(name: str, house: str) -> str:
    """The column of a house size. Arguments: name, in HOUSE_COLUMNS; house, its size as given."""
    return f"{name}_{re.sub('[^0-9A-Za-z]+', '_', house)}"


def parcel_columns(houses: Sequence[str]) -> dict[str, Heading]:
    """The columns that a screening fills. Arguments: houses, sizes as given."""
    by_house = {
        house_column(name, house): Heading(column.kind, f"{house}: {column.title}", column.unit)
        for house in dict.fromkeys(houses)
        for name, column in HOUSE_COLUMNS.items()
    }
    return PARCEL_COLUMNS | by_house


def own_columns(parcels: Features, taken: Sequence[str]) -> tuple[dict[str, Heading], list[dict[str, Any]]]:
    """The columns of the parcels' own file, and a row a parcel; names that the screening needs get `own_` in front.

    Arguments: parcels; taken, the names that the screening needs.
    """
    used = {name.lower() for name in taken} | NOT_OURS
    columns: dict[str, Heading] = {}
    rows: list[dict[str, Any]] = [{} for _ in range(len(parcels))]
    for name, values in parcels.columns.items():
        if name.lower() in NOT_OURS or name.lower() == "parcel":
            continue
        shown = name
        while shown.lower() in used:
            shown = f"own_{shown}"
        used.add(shown.lower())
        columns[shown], plain = _plain_column(np.asarray(values))
        for row, value in zip(rows, plain, strict=True):
            row[shown] = value
    return columns, rows


def _plain_column(values: np.ndarray) -> tuple[Heading, list[Any]]:
    title = "of the parcels' own file"
    if values.dtype.kind in "iub":
        return Heading(INTEGER, title), values.astype(np.int64).tolist()
    if values.dtype.kind == "f":
        return Heading(REAL, title), [value if np.isfinite(value) else None for value in values.astype(float).tolist()]
    return Heading(TEXT, title), [None if _nothing(value) else str(value) for value in values.tolist()]


def _nothing(value: Any) -> bool:
    return value is None or value != value or str(value) == "NaT"
