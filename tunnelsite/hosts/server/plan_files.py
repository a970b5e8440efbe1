"""A plan as the outputs of a job: the summary as JSON, layers as GeoJSON, tables as CSV, pictures as SVG."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.plan_kind import LAYER, SUMMARY, TABLE, PlanKind
from tunnelsite.io.formats.csv_table import csv_text
from tunnelsite.io.formats.geojson import geojson_text
from tunnelsite.io.formats.world import world_layer
from tunnelsite.plans.plan import Plan


def write_outputs(kind: PlanKind, plan: Plan, folder: Path, wanted: Sequence[str]) -> None:
    """Write the wanted outputs; optional ones that the plan has none of are left out. Errors: InputRefused as `world_layer`."""
    cautions = list(dict.fromkeys([*CAUTIONS, *plan.cautions]))
    if SUMMARY in wanted:
        told = plan.summary | {"title": plan.title, "notes": list(plan.notes), "cautions": cautions}
        (folder / f"{SUMMARY}.json").write_text(json.dumps(told, allow_nan=False), "utf-8")
    maps = {table.name: table for table in plan.maps}
    for one in kind.gives:
        if one.id not in wanted:
            continue
        if one.kind == LAYER and one.id in maps:
            layer = world_layer(one.id, maps[one.id], maps[one.id].system)
            (folder / f"{one.id}.geojson").write_text(geojson_text(layer, cautions), "ascii")
        elif one.kind == TABLE and (one.id in plan.sheets or one.id in maps):
            table = plan.sheets[one.id] if one.id in plan.sheets else maps[one.id]
            (folder / f"{one.id}.csv").write_text(csv_text(table), "utf-8", newline="")
        elif one.id in plan.pictures:
            (folder / f"{one.id}.svg").write_text(plan.pictures[one.id], "utf-8")
