"""A screened region as files: GeoPackage, manifest, suitability raster, GeoParquet."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.table import Table
from tunnelsite.io.formats import sld_parts as sld
from tunnelsite.io.formats import styles
from tunnelsite.io.formats.cog import write_cog
from tunnelsite.io.formats.sld_parts import GREY
from tunnelsite.io.write.plan_files import write_plan
from tunnelsite.io.write.staging import write_whole
from tunnelsite.region.tasks import RegionPlan
from tunnelsite.screening.again import REGION, with_project

if TYPE_CHECKING:
    from tunnelsite.region.screened import RegionResult

STATEMENT = "Screening of every parcel of a region by tunnelsite, task by task; settings stand in the run table."
TITLE = "best score of a placement whose centre lies in the block"


def region_files(out: Path, plan: RegionPlan, *, parquet: bool = False) -> dict[str, Path]:
    """The files of a region by what they are, beside its GeoPackage. Arguments: out, the GeoPackage; plan; parquet, also as GeoParquet."""
    found = {"--out": out, "manifest": out.with_name(f"{out.stem}-manifest.json")}
    if plan.suitability_m is not None:
        found["suitability"] = out.with_name(f"{out.stem}-suitability.tif")
        found["suitability style"] = found["suitability"].with_suffix(".sld")
    if plan.group_by is not None:
        found["map of groups"] = out.with_name(f"{out.stem}-groups.svg")
    if parquet:
        found |= {f"{name} parquet": out.with_name(f"{out.stem}-{name}.parquet") for name in ("candidates", "parcels")}
    return found


def write_region(result: RegionResult, outputs: Mapping[str, Path], *, overwrite: bool) -> None:
    """Write everything of a region, each file whole or not at all; the manifest last, as the sign that all is there.

    Arguments: result; outputs by what they are: `--out`, `manifest`, and where wanted `suitability`, `suitability style`, `map of groups`,
    `candidates parquet`, `parcels parquet`; overwrite.
    Errors: OutputFailed; what was there before stays.
    """
    crs = result.table("parcels").system
    sources = {item["name"]: item["sha256"] for item in result.manifest["inputs"]}
    out = outputs["--out"]
    layers = [
        with_project(one, result.settings, out.parent, REGION) if one.name == "run" else one for one in result.layers
    ]
    write_plan(
        out, layers, crs=crs, statement=STATEMENT, sources=sources, overwrite=overwrite,
        styles=region_styles(result.layers),
    )  # fmt: skip
    if result.suitability is not None and "suitability" in outputs:
        values = result.suitability.values
        write_cog(outputs["suitability"], values, result.suitability, unit="0-100", title=TITLE, overwrite=overwrite)
        known = values[np.isfinite(values)]
        ends = (float(known.min()), float(known.max())) if known.size else (0.0, 100.0)
        style = styles.raster_sld("suitability", TITLE, "0-100", *ends, palette="cividis")
        write_whole(outputs["suitability style"], style, overwrite=overwrite)
    if "map of groups" in outputs:
        write_whole(outputs["map of groups"], result.pictures["groups"], overwrite=overwrite)
    for name in ("candidates", "parcels"):
        if f"{name} parquet" in outputs:
            from tunnelsite.io.formats.sheets import parquet_bytes

            data = parquet_bytes(result.table(name), crs)
            write_whole(outputs[f"{name} parquet"], data, overwrite=overwrite)
    write_whole(outputs["manifest"], json.dumps(result.manifest, indent=1) + "\n", overwrite=overwrite)


def region_styles(tables: list[Table]) -> dict[str, str]:
    """An OGC SLD document for every layer with places."""
    found = {table.name: table for table in tables}
    scores = [row["score"] for row in found["candidates"].rows]
    best = [row["best_score"] for row in found["parcels"].rows if row.get("best_score") is not None]
    shares = {"groups": groups_sld()} if "groups" in found else {}
    return shares | {
        "candidates": styles.candidates_sld(styles.score_breaks(scores)),
        "pads": styles.pads_sld(),
        "rejections": styles.rejections_sld(),
        "parcels": parcels_sld(styles.score_breaks(best)),
    }


def groups_sld() -> str:
    """Groups filled by the share of their parcels that have room."""
    root, style = sld.document("groups", "Share of feasible parcels")
    for rule, fill in styles.class_rules(style, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0], "feasible_share", ("share", "Share")):
        sld.add_polygon(rule, fill=fill, fill_opacity=0.6, stroke=GREY, width=0.8)
    rule = styles.null_rule(style, "feasible_share", ("none", "No data"))
    sld.add_polygon(rule, stroke=GREY, width=0.8, dashes="4 3")
    return sld.text(root)


def parcels_sld(breaks: list[float]) -> str:
    """Parcels filled by their best score in classes, grey where nothing passed or nothing is known."""
    root, style = sld.document("parcels", "Parcels by best score")
    for rule, fill in styles.class_rules(style, breaks, "best_score", ("best", "Best score")):
        sld.add_polygon(rule, fill=fill, fill_opacity=0.6, stroke=GREY, width=0.6)
    rule = styles.null_rule(style, "best_score", ("none", "No place found, or not known"))
    sld.add_polygon(rule, stroke=GREY, width=0.8, dashes="4 3")
    return sld.text(root)
