"""A result as files: `sites.gpkg` and rasters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.io.formats import styles
from tunnelsite.io.formats.cog import write_cog
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage
from tunnelsite.io.formats.overviews import way_of
from tunnelsite.io.write.plan_files import lineage_xml, stored_table
from tunnelsite.io.write.staging import write_whole

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tunnelsite.core.table import Table
    from tunnelsite.screening.result import Result

RASTER_LAYERS = (
    "ground",
    "surface",
    "standing_m",
    "upslope_m2",
    "ponding_m",
    "water_like",
    "beam_share",
    "beam_share_worst",
)


def write_result(result: Result, path: Path, *, overwrite: bool) -> Path:
    """Write every table of a result, with styles and lineage, as one GeoPackage, whole or not at all.

    Errors: OutputFailed; what was there before stays.
    """
    return write_tables(result, result.tables, path, overwrite=overwrite)


def write_tables(result: Result, tables: Mapping[str, Table], path: Path, *, overwrite: bool) -> Path:
    """Write tables that tell of a result, with its lineage and the styles there are for them, as one GeoPackage.

    Errors: OutputFailed; what was there before stays.
    """
    stored = {name: stored_table(table) for name, table in tables.items()}
    write_geopackage(
        path,
        stored,
        crs=result.crs,
        styles={name: style for name, style in layer_styles(result).items() if name in stored},
        lineage_xml=lineage(result),
        cautions=CAUTIONS,
        overwrite=overwrite,
        stamp=run_stamp(),
    )
    return path


def layer_styles(result: Result) -> dict[str, str]:
    """An OGC SLD document for every layer with places."""
    return {
        "candidates": styles.candidates_sld(styles.score_breaks([choice.score for choice in result.choices])),
        "compromises": styles.compromises_sld(),
        "pads": styles.pads_sld(),
        "stakes": styles.stakes_sld(),
        "rejections": styles.rejections_sld(),
    }


def lineage(result: Result) -> str:
    """Where the results come from, as an ISO 19139 `LI_Lineage` with one source per input and one step per stage."""
    statement = "Screening of every placement of a house by tunnelsite; settings stand in the run table."
    return lineage_xml(statement, ((item.name, item.sha256) for item in result.site.inputs), _steps(result))


def _steps(result: Result) -> list[str]:
    settings = result.settings
    return [
        f"elevation warped to a local transverse Mercator, cells of {result.frame.grid.cell_m:g} m, bilinear",
        "hollows filled and flow accumulated on the bare ground",
        f"beam share from horizons in {settings.azimuths} directions over {settings.crop_months}",
        "plane, earthwork, water and light measured at every placement, judged by the criteria table, ranked without overlap",
        "candidates checked exactly against parcels, keep-outs and structures",
    ]


def raster_files(folder: Path) -> dict[str, Path]:
    """Every file that `write_rasters` may write into a folder, by what it is."""
    tifs = {f"raster {name}": folder / f"{name}.tif" for name in RASTER_LAYERS}
    return tifs | {f"style of {what}": path.with_suffix(".sld") for what, path in tifs.items()}


def write_rasters(result: Result, folder: Path, *, overwrite: bool) -> list[Path]:
    """Write the layers of the wanted bearing as COGs, each with its SLD, into an existing folder. Errors: OutputFailed."""
    frame, written = result.frame, []
    titles = {spec.id: spec.title for judge in result.judges for spec in judge.criterion.description.reads}
    for name in RASTER_LAYERS:
        if name not in frame.layers:
            continue
        values = frame.layers[name].astype("float32")
        if name in ("ground", "surface"):
            values = (values.astype("float64") + frame.datum_m).astype("float32")
        path = folder / f"{name}.tif"
        title = titles.get(name, name)
        words = {"unit": frame.units.get(name, "1"), "title": title}
        write_cog(path, values, frame.grid, overwrite=overwrite, overviews=way_of(name), **words)
        written.append(path)
        known = values[np.isfinite(values)]
        ends = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
        sld = styles.raster_sld(name, title, frame.units.get(name, "1"), *ends)
        write_whole(path.with_suffix(".sld"), sld, overwrite=overwrite)
    return written
