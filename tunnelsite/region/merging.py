"""The parts of a region put together, in the order of the tasks, whatever order they were finished in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.grid import horizontal
from tunnelsite.core.layers import Features
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.region.parcel_columns import SCREENED, own_columns, parcel_columns
from tunnelsite.region.part import check_values, columns_of
from tunnelsite.region.running import Failure, may_be_one_parcel
from tunnelsite.region.tasks import Task

TASK_COLUMNS = {
    "task": Heading(INTEGER, "number"),
    "key": Heading(TEXT, "SHA-256 of everything its answer depends on"),
    "parcels": Heading(INTEGER, "parcels in it"),
    "state": Heading(TEXT, "screened, failed, no data, or split into smaller tasks"),
    "cell_m": Heading(REAL, "working cell", "m"),
    "notes": Heading(TEXT, "what was found or assumed"),
}

Found = list[tuple[int, dict[str, Any]]]  # task numbers, and tables as `part.table_out` stores them


@dataclass(frozen=True)
class Done:
    """What came of the tasks: all of them, the failures by task number, and those failed ones whose parcels were then screened
    in smaller tasks that follow."""

    tasks: Sequence[Task]
    failures: Mapping[int, Failure]
    split: Sequence[Task] = ()

    def state(self, task: Task) -> str:
        """`screened`, `failed`, `no data` or `split`."""
        if any(task is one for one in self.split):
            return "split"
        return self.failures[task.number].state if task.number in self.failures else SCREENED

    def to_split(self) -> list[Task]:
        """The tasks that failed for what may lie in one of their parcels, and were not split yet."""
        failed = [task for task in self.last() if task.number in self.failures]
        return [task for task in failed if may_be_one_parcel(task, self.failures[task.number])]

    def last(self) -> list[Task]:
        """The tasks whose answer stands: all but those that were split."""
        return [task for task in self.tasks if self.state(task) != "split"]


def merged_tables(
    parts: Iterable[tuple[Task, dict[str, Any] | None]],
    done: Done,
    parcels: Features,
    names: Sequence[str],
    houses: Sequence[str],
) -> list[Table]:
    """The layers of a region.

    Arguments: parts, each task with what it found (None where it failed), in the order of the tasks; done, what came of them;
    parcels and names of the region; houses, their sizes as given.
    Return: candidates, pads, rejections, parcels, criteria, tasks.
    """
    stored: dict[str, Found] = {name: [] for name in ("candidates", "pads", "rejections", "criteria")}
    rows: list[dict[str, Any]] = []
    tasks: list[dict[str, Any]] = []
    shapes: list[int] = []
    crs, wanted = horizontal(parcels.crs), parcel_columns(houses)
    own, own_rows = own_columns(parcels, list(wanted))
    for task, part in parts:
        members = task.parcels.tolist()
        row = {"task": task.number, "state": done.state(task)}
        if part is None:
            reason = done.failures[task.number].reason
            if row["state"] != "split":
                shapes += members
                rows += [{**row, "parcel": names[k], "reason": reason} for k in members]
            else:
                reason = f"failed as a whole, so its parcels were screened each alone: {reason}"
            tasks.append({**row, "key": task.key, "parcels": len(members), "notes": reason})
            continue
        shapes += members
        for name, found in stored.items():
            found.append((task.number, part[name]))
        listed = part["candidates"]["values"]["parcel"]
        for name, column in wanted.items():
            check_values(name, column.kind, [one.get(name) for one in part["parcels"]])
        rows += [{**row, **one, "candidates": listed.count(one["parcel"])} for one in part["parcels"]]
        told = {"key": task.key, "parcels": len(members), "cell_m": part["cell_m"], "notes": "\n".join(part["notes"])}
        tasks.append(row | told)
    candidates, pads = _ranked(stored["candidates"], stored["pads"], list(names), crs)
    outlines = [shapely.multipolygons([s]) if s.geom_type == "Polygon" else s for s in parcels.geometry[shapes]]
    rows = [row | own_rows[k] for row, k in zip(rows, shapes, strict=True)]
    whole = table_of(
        "parcels", "Parcels of the region, what was tried and what passed", wanted | own, rows,
        Places(np.array(outlines, object), "MultiPolygon", crs),
    )  # fmt: skip
    title = "Tasks: parcels that were screened together"
    return [
        candidates, pads, _joined("rejections", stored["rejections"], crs), whole, _criteria(stored["criteria"]),
        table_of("tasks", title, TASK_COLUMNS, tasks),
    ]  # fmt: skip


def rows_of(stored: dict[str, Any]) -> list[dict[str, Any]]:
    """The rows of a table as a part holds it."""
    names = [column[0] for column in stored["columns"]]
    columns = [stored["values"][name] for name in names]
    for (name, kind, *_), values in zip(stored["columns"], columns, strict=True):
        check_values(name, kind, values)
    return [dict(zip(names, values, strict=True)) for values in zip(*columns, strict=True)] if columns else []


def _shapes(stored: dict[str, Any]) -> list[Any]:
    return list(shapely.from_wkb(stored["geometry"]))


def _joined(name: str, found: Found, crs: pyproj.CRS) -> Table:
    if not found:
        return table_of(
            name, name, {"parcel": Heading(TEXT, "parcel")}, [], Places(np.empty(0, object), "MultiPolygon", crs)
        )
    rows = [row for _, table in found for row in rows_of(table)]
    shapes = np.array([shape for _, table in found for shape in _shapes(table)], object)
    first = found[0][1]
    return table_of(
        name, first["title"], columns_of([t for _, t in found]), rows, Places(shapes, first["geometry_type"], crs)
    )


def _ranked(candidates: Found, pads: Found, names: list[str], crs: pyproj.CRS) -> tuple[Table, Table]:
    """Candidates of all tasks by score, those of equal score in the order of the parcels file; pads likewise."""
    ordered = []
    place = {name: k for k, name in enumerate(names)}
    for (_, table), (_, pad) in zip(candidates, pads, strict=True):
        items = zip(rows_of(table), _shapes(table), rows_of(pad), _shapes(pad), strict=True)
        ordered += [(-row["score"], place[row["parcel"]], row["rank_in_parcel"], row, *rest) for row, *rest in items]
    ordered.sort(key=lambda item: item[:3])
    for rank, item in enumerate(ordered, 1):
        item[3]["rank"] = item[5]["rank"] = rank
    tables = []
    for name, found, at in (("candidates", candidates, 3), ("pads", pads, 5)):
        title = found[0][1]["title"] if found else name
        headings = columns_of([table for _, table in found]) or {"parcel": Heading(TEXT, "parcel")}
        shapes = np.empty(len(ordered), object)
        shapes[:] = [item[at + 1] for item in ordered]
        tables.append(table_of(name, title, headings, [item[at] for item in ordered], Places(shapes, "Polygon", crs)))
    return tables[0], tables[1]


def _criteria(found: Found) -> Table:
    """Every rubric used, with how many placements could be assessed in all."""
    columns = columns_of([table for _, table in found])
    rows: dict[str, dict[str, Any]] = {}
    for _, table in found:
        for row in rows_of(table):
            known = rows.setdefault(row["criterion"], {**row, "assessed": 0})
            known["assessed"] += row["assessed"] or 0
    return table_of("criteria", "Criteria and how they are judged", columns, list(rows.values()))
