"""Parcels of a region by a column of their own: what each group holds for each house size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.region.parcel_columns import SCREENED, house_column

NOT_STATED = "not stated"
GROUP_COLUMNS = {
    "group": Heading(TEXT, "value of the column by which parcels are grouped"),
    "house": Heading(TEXT, "house size as given"),
    "parcels": Heading(INTEGER, "parcels of the group"),
    "screened": Heading(INTEGER, "of these, parcels of which something is known"),
    "not_known": Heading(
        INTEGER, "of the screened ones, parcels without a place in the part that is known: the rest might hold one"
    ),
    "feasible": Heading(INTEGER, "parcels where a place passes every limit"),
    "feasible_share": Heading(
        REAL, "the same as a share of the parcels that were screened, without those not known", "0-1"
    ),
    "best_score": Heading(REAL, "score of the best place of the group", "0-100"),
    "median_score": Heading(REAL, "median over the feasible parcels of the score of each one's best place", "0-100"),
    "footprints_m2": Heading(REAL, "land that a house may cover: union of the footprints", "m2"),
    "pads_m2": Heading(REAL, "land that its graded pad may cover: union of the pads", "m2"),
    "options": Heading(INTEGER, "places that stand apart from one another, as `options` of the parcels"),
}


def check_group_column(names: Sequence[str], column: str) -> str:
    """The column as the parcels spell it. Errors: UsageError for one that they do not have."""
    found = [name for name in names if name.lower() == column.lower()]
    if not found:
        raise UsageError(
            f"--group-by {column}: the parcels have no such column",
            f"one of {', '.join(names) or 'their columns, of which there are none'}",
            "name a column of the parcels' file",
        )
    return found[0]


def group_labels(parcels: Table, column: str) -> list[str]:
    """The group of each row of the layer `parcels`. Errors: as `check_group_column`."""
    own = f"own_{column}"
    shown = own if own in parcels.columns else check_group_column(list(parcels.columns), column)
    texts = ["" if value is None else str(value).strip() for value in parcels.values(shown)]
    return [text or NOT_STATED for text in texts]


def groups_table(parcels: Table, column: str, houses: Sequence[str]) -> Table:
    """A row for each group and house size, with the group's outline.

    Arguments: parcels, the layer of a region; column of it; houses, sizes as given. Errors: UsageError as `check_group_column`.
    """
    labels = np.array(group_labels(parcels, column), object)
    rows, shapes = [], []
    outlines = np.array(parcels.shapes, object)
    for label in sorted(set(labels.tolist())):
        mine = np.flatnonzero(labels == label)
        outline = shapely.union_all(shapely.make_valid(outlines[mine]))
        outline = shapely.multipolygons([part for part in shapely.get_parts(outline) if part.geom_type == "Polygon"])
        for house in dict.fromkeys(houses):
            rows.append({"group": label, "house": house} | _of_group([parcels.rows[k] for k in mine], house))
            shapes.append(outline)
    title = f"Parcels by {column} and house size"
    return table_of(
        "groups", title, GROUP_COLUMNS, rows, Places(np.array(shapes, object), "MultiPolygon", parcels.system)
    )


def _of_group(rows: Sequence[dict[str, Any]], house: str) -> dict[str, Any]:
    known = [row for row in rows if row["state"] == SCREENED]
    decided = [row for row in known if row.get(house_column("feasible", house)) is not None]
    feasible = [row for row in decided if row[house_column("feasible", house)]]

    def values(name: str) -> list[float]:
        return [row[key] for row in feasible if row.get(key := house_column(name, house)) is not None]

    best = values("best_score")
    return {
        "parcels": len(rows),
        "screened": len(known),
        "not_known": len(known) - len(decided) if known else None,
        "feasible": len(feasible) if decided else None,
        "feasible_share": len(feasible) / len(decided) if decided else None,
        "best_score": max(best, default=None),
        "median_score": float(np.median(best)) if best else None,
        "footprints_m2": float(sum(values("footprints_m2"))) if decided else None,
        "pads_m2": float(sum(values("pads_m2"))) if decided else None,
        "options": int(sum(values("options"))) if decided else None,
    }
