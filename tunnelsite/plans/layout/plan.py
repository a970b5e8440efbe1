"""The best block of several houses on the open ground of a screening, with trenches to the services."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tunnelsite.core.errors import given_or, refuse_other
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import LAYER, PICTURE, TABLE, Content, PlanKind
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site
from tunnelsite.core.table import Table
from tunnelsite.io.formats.plan_styles import layout_styles
from tunnelsite.plans.layout.compact import compact_block
from tunnelsite.plans.layout.layers import PlacedBlock, layout_table, trenches_table
from tunnelsite.plans.layout.picture import layout_picture
from tunnelsite.plans.layout.scattered import Block, best_block, footprints
from tunnelsite.plans.layout.service_trenches import service_trenches
from tunnelsite.plans.layout.settings import LayoutSettings
from tunnelsite.plans.layout.summary import CAUTIONS, LaidBlock, summary_of
from tunnelsite.plans.plan import Lineage, Plan
from tunnelsite.screening import tables
from tunnelsite.screening.result import Result
from tunnelsite.screening.run import screen
from tunnelsite.screening.run_table import run_table
from tunnelsite.settings.field import fields_of
from tunnelsite.settings.model import Settings, settings_from

STEM = "layout"
FILES = {"layers": ".gpkg", "map": ".svg"}


def lay_out(
    of: Site | Result,
    settings: LayoutSettings | None = None,
    *,
    screening: Settings | None = None,
    progress: Progress = silent,
) -> Plan:
    """The best block of houses among all placements that pass every limit.

    Args:
        of: a finished screening whose rasters are at hand; or a site, which is screened first.
        settings: of the block.
        screening: settings of the screening where `of` is a site; default: `Settings()`.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Plan with the picture `map`, the layers `layout`, `pads` and (with services) `trenches`, and the table `run`.

    Raises:
        UsageError: for settings that do not go together, or parcels that are not there; else those of `screen`.
    """
    refuse_other(of, "of", Site, Result)
    asked = given_or(settings, LayoutSettings)
    if isinstance(of, Site):
        screening = screening or Settings()
        asked.check(screening, of.services)
        of = screen(of, settings=screening, progress=progress)
    asked = replace(asked, price=asked.price or of.settings.prices)
    asked.check(of.settings, of.site.services)
    progress("block of houses", 0.0)
    block = _block(of, asked)
    result = replace(of, choices=block.choices)
    houses = footprints(result, block.choices)
    progress("trenches", 0.0)
    frame = result.scans[block.choices[0].scan].frame if block.choices else result.frame
    ways, cell_m = service_trenches(frame, houses, asked.prices.ways(), shared=not asked.scattered)
    return _plan(LaidBlock(asked, result, block, PlacedBlock(houses, ways, cell_m)))


def _block(result: Result, asked: LayoutSettings) -> Block:
    if asked.scattered:
        sizes = [house.name for house in result.settings.houses]
        return best_block(result, asked.scattered_rules(sizes), asked.shade, asked.parcel)
    return compact_block(result, asked.compact_rules, asked.shade, asked.parcel, asked.prices.ways())


def _plan(chosen: LaidBlock) -> Plan:
    result, placed, summary = chosen.result, chosen.placed, summary_of(chosen)
    count = len(placed.houses)
    layers = [
        layout_table(result, placed.houses, placed.ways, chosen.settings.prices.ways()),
        tables.pads_table(result),
    ]
    if any(placed.ways):
        layers.append(trenches_table(result, placed.ways))
    looks = layout_styles([choice.score for choice in result.choices])
    return Plan(
        LAYOUT.id,
        f"Block of {count} houses" if count != 1 else "One house",
        summary,
        {"map": layout_picture(result, placed)},
        maps=(*layers, _run(chosen, summary)),
        lineage=Lineage(
            result.crs,
            "Best block of houses among all placements of a screening by tunnelsite.",
            {item.name: item.sha256 for item in result.site.inputs},
            {layer.name: looks[layer.name] for layer in layers},
            result.settings,
        ),
        notes=tuple(summary["notes"]),
        cautions=CAUTIONS,
        stem=STEM,
        files=FILES,
    )


def _run(chosen: LaidBlock, summary: dict[str, Any]) -> Table:
    """The run table of the screening with what was asked of the block and found."""
    run = run_table(chosen.result)
    values = ((field, getattr(chosen.settings, field.name)) for field in fields_of(LayoutSettings))
    rows = [
        {"kind": "setting", "name": f"layout {field.key}", "value": field.words.shown(value)}
        for field, value in values
        if value is not None and value is not False and value not in ((), {}) and field.words.shown(value) != "none"
    ]
    rows.append({"kind": "note", "name": "layout", "value": summary["verdict"]})
    rows += [{"kind": "note", "name": "layout", "value": text} for text in summary["notes"]]
    rows += [{"kind": "caution", "name": f"layout {k}", "value": text} for k, text in enumerate(CAUTIONS, 1)]
    return run.with_rows([*run.rows, *rows])


def _of_placement(site: Site, place: Placement, settings: LayoutSettings, progress: Progress) -> Plan:
    """A block of the placement's house at its bearing, by the settings of its screening."""
    screening = settings_from(dict(place.settings) | {"bearing": place.grid_bearing_deg})
    return lay_out(screen(site, place.house, settings=screening, progress=progress), settings, progress=progress)


LAYOUT = PlanKind(
    id="lay_out",
    title="Layout of several houses",
    text="The best block of several houses of one size on one parcel, with room for machines between them and trenches to the services; or "
    "each house where it is best.",
    source="common practice, no source",
    settings=LayoutSettings,
    make=_of_placement,
    gives=(
        Content("map", PICTURE, "the block on the relief of the land, with pads and trenches"),
        Content("layout", LAYER, "footprints of the block"),
        Content("pads", LAYER, "their graded pads"),
        Content("trenches", LAYER, "trenches to the services", optional=True),
        Content("run", TABLE, "inputs, settings, notes and cautions"),
    ),
    reads=("structures", "keep_out", "service", "surface", "obstacles"),
    follows=("clearance", "setback", "apron", "crop_months"),
)
