"""One task of a region: its land is read, its parcels are screened, what was found is handed back as bytes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tunnelsite.core.site import Site
from tunnelsite.region.by_parcel import ByParcel
from tunnelsite.region.parcel_columns import NO_DATA, house_column
from tunnelsite.region.part import packed, table_out
from tunnelsite.region.suitability import BlockGrid, block_scores
from tunnelsite.screening import tables
from tunnelsite.screening.kept_run import keep_run
from tunnelsite.screening.loose_run import cropped, screened_loosely
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen
from tunnelsite.screening.run_table import DOUBT, notes_once, run_table
from tunnelsite.settings.model import Settings


@dataclass(frozen=True)
class TaskOutputs:
    """What is wanted of every task: candidates a parcel, the lattice of the suitability raster or None, and the folder in which
    each task's run is kept, or None."""

    top: int
    lattice: BlockGrid | None = None
    runs: Path | None = None


def run_path(folder: Path, key: str) -> Path:
    """Where the kept run of a task lies."""
    return folder / f"{key[:32]}.npz"


def screened_part(site: Site, settings: Settings, key: str, wanted: TaskOutputs) -> bytes:
    """The answer of one task; its run is kept where that is wanted.

    Arguments: site, with the parcels of the task only, named in a column `parcel`; settings; key of the task; wanted.
    Errors: as `screening.screen`; OutputFailed.
    """
    alone = settings.model_copy(update={"top": 1})
    if wanted.runs is None:
        return part_of(screen(site, settings=alone), key, wanted)
    loose, result = screened_loosely(site, alone)
    data = part_of(result, key, wanted)
    keep_run(cropped(loose), run_path(wanted.runs, key), overwrite=True)
    return data


def part_of(result: Result, key: str, wanted: TaskOutputs) -> bytes:
    """What is handed back of the result of one task. Arguments: result; key of the task; wanted."""
    settings = result.settings
    names = result.frame.parcel_names
    by_parcel = ByParcel(result)
    choices = [choice for k in range(len(names)) for choice in by_parcel.best(k, wanted.top)]
    result = replace(result, choices=choices)
    notes = [f"DOUBT: {text}" for text in result.doubts]
    notes += notes_once([row for row in run_table(result).rows if row["kind"] == "note" and row["name"] != DOUBT])
    part = {
        "key": key,
        "parcels": [_row(by_parcel, k, settings, wanted.top) for k in range(len(names))],
        "candidates": table_out(tables.candidates_table(result)),
        "pads": table_out(tables.pads_table(result)),
        "rejections": table_out(tables.rejections_table(result)),
        "criteria": table_out(tables.criteria_table(result)),
        "notes": notes,
        "cell_m": result.frame.grid.cell_m,
        "suitability": None if wanted.lattice is None else block_scores(result, wanted.lattice),
    }
    return packed(part)


def _row(by_parcel: ByParcel, parcel: int, settings: Settings, top: int) -> dict[str, Any]:
    """A row of the layer `parcels`."""
    row = by_parcel.row(parcel)
    if row.get("state") == NO_DATA:
        return row
    for house in dict.fromkeys(one.name for one in settings.houses):
        found = by_parcel.house_row(parcel, house, top)
        row |= {house_column(name, house): value for name, value in found.items()}
    return row
