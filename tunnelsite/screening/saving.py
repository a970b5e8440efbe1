"""A result as files: `sites.gpkg` and rasters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tunnelsite.core.cautions import CAUTIONS
from tunnelsite.core.describe import LayerSpec
from tunnelsite.io.formats import styles
from tunnelsite.io.formats.cog import TILE
from tunnelsite.io.formats.cog_blocks import cog_by_blocks
from tunnelsite.io.formats.geopackage import run_stamp, write_geopackage
from tunnelsite.io.formats.overviews import way_of
from tunnelsite.io.write.plan_files import lineage_xml
from tunnelsite.io.write.staging import write_whole
from tunnelsite.screening.again import with_project
from tunnelsite.screening.layers import INPUT_LAYERS, layer_specs, layers_made
from tunnelsite.settings.model import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tunnelsite.core.table import Table
    from tunnelsite.screening.result import Result


def write_result(result: Result, path: Path, *, overwrite: bool) -> Path:
    """Write every table of a result, with styles and lineage, as one GeoPackage, whole or not at all.

    Errors: OutputFailed; what was there before stays.
    """
    return write_tables(result, result.tables, path, overwrite=overwrite)


def write_tables(result: Result, tables: Mapping[str, Table], path: Path, *, overwrite: bool) -> Path:
    """Write tables that tell of a result, with its lineage and the styles there are for them, as one GeoPackage.

    Errors: OutputFailed; what was there before stays.
    """
    if "run" in tables:
        tables = {**tables, "run": with_project(tables["run"], result.settings, path.parent)}
    write_geopackage(
        path,
        tables,
        crs=result.crs,
        styles={name: style for name, style in layer_styles(result).items() if name in tables},
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
    statement = "Screening of every placement of a house by tunnelsite; the run table holds the settings."
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


def raster_layers(settings: Settings) -> list[str]:
    """Every layer that a run may have: of the inputs, of the user's own, and what processes make for the criteria, those of plug-ins
    included."""
    return [*INPUT_LAYERS, *layers_made(), *settings.layer]


def raster_files(folder: Path, settings: Settings) -> dict[str, Path]:
    """Every file that `write_rasters` may write into a folder, by what it is."""
    tifs = {f"raster {name}": folder / f"{name}.tif" for name in raster_layers(settings)}
    return tifs | {f"style of {what}": path.with_suffix(".sld") for what, path in tifs.items()}


def write_rasters(result: Result, folder: Path, *, overwrite: bool) -> list[Path]:
    """Write every layer of the wanted bearing as COG with its SLD into an existing folder, some rows at a time. Errors: OutputFailed."""
    frame, written, specs = result.frame, [], layer_specs()
    for name in raster_layers(result.settings):
        if name not in frame.layers:
            continue
        spec = specs.get(name, LayerSpec(name, frame.units.get(name, "1"), name))
        path, unit = folder / f"{name}.tif", frame.units.get(name, spec.unit)
        way = "mode" if spec.classes or _of_classes(result, name) else way_of(name)
        least, most = np.inf, -np.inf
        with cog_by_blocks(
            path, frame.grid, title=spec.title, overwrite=overwrite, overviews=way, layer=name
        ) as writer:
            writer.unit = unit
            for top in range(0, frame.grid.rows, TILE):
                rows = slice(top, min(top + TILE, frame.grid.rows))
                values = spec.stored(frame.layers[name][rows], frame.datum_m).astype(np.float32)
                writer.write(rows, slice(0, frame.grid.cols), values)
                known = values[np.isfinite(values)]
                least, most = min(least, known.min(initial=np.inf)), max(most, known.max(initial=-np.inf))
        written.append(path)
        ends = (float(least), float(most)) if least <= most else (0.0, 1.0)
        write_whole(path.with_suffix(".sld"), styles.raster_sld(name, spec.title, unit, *ends), overwrite=overwrite)
    return written


def _of_classes(result: Result, name: str) -> bool:
    own = result.site.own_rasters.get(name)
    return own is not None and own.classes
