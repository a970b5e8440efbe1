"""A finished run kept as one file of arrays, so that it can be ranked again without computing terrain.

The file is a NumPy `.npz` (no pickles, so that opening it runs nothing): arrays, and one JSON text for the rest.
"""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.criterion import Criterion, Truth
from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.elevation_error import CELL_ERROR, ErrorModel
from tunnelsite.core.errors import InputRefused, ResourceShortage, UsageError
from tunnelsite.core.grid import Grid
from tunnelsite.core.house import House, Pad
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.rubric import Rubric
from tunnelsite.core.site import Frame, Site
from tunnelsite.io.read.files import file_name, sha256
from tunnelsite.io.read.kept_arrays import check_frame, check_scan, stored_arrays
from tunnelsite.io.write.staging import write_whole
from tunnelsite.settings.model import Settings
from tunnelsite.settings.paths import anchored, relative

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

FORMAT = "tunnelsite kept run 3"
OUTPUTS = {"out", "overwrite", "rasters", "keep"}  # where a run was written to is no part of it
PLAIN = ("datum_m", "parcel_names", "lon_deg", "lat_deg", "notes", "dem_cell_m", "step_m", "surface_like", "doubts")
# what describing a candidate reads, and what water on drawn grounds goes on from
LAYERS = ("ground", CELL_ERROR, "open_edge", "standing_m", "worst_month", "ponding_m", "upslope_m2", "flow_direction")


def keep_run(result: Result, path: str | Path, *, overwrite: bool) -> None:
    """Write what ranking again needs. Errors: OutputFailed; what was there before stays."""
    from tunnelsite.scan.losses import losses

    arrays: dict[str, np.ndarray] = {}
    frames: list[Frame] = []
    scans = []
    for scan in result.scans:
        if not any(scan.frame is known for known in frames):
            frames.append(scan.frame)
        number = next(k for k, known in enumerate(frames) if known is scan.frame)
        key = f"scan{len(scans)}"
        arrays |= {f"{key}.index": scan.index, f"{key}.owner": scan.owner, f"{key}.inside": scan.ground.inside}
        arrays |= {f"{key}.measure.{name}": values for name, values in scan.measures.items()}
        for name, truth in scan.truths.items():
            arrays |= {f"{key}.mean.{name}": truth.mean, f"{key}.se.{name}": truth.se}
        arrays |= {f"{key}.rejected.{rule}": counts for rule, counts in scan.ground.rejected.items()}
        for rule, lost in losses(scan, result.judges, result.settings.pad_pitch).items():
            arrays |= {f"{key}.lost.{rule}.index": lost.index, f"{key}.lost.{rule}.owner": lost.owner}
            arrays |= {f"{key}.lost.{rule}.measure.{name}": values for name, values in lost.measures.items()}
        tallies = {rule: [dataclasses.astuple(tally) for tally in found] for rule, found in scan.tallies.items()}
        scans.append(
            {
                "frame": number,
                "house": dataclasses.asdict(scan.house),
                "pad": dataclasses.asdict(scan.pad),
                "tallies": tallies,
            }
        )
    about = {
        "format": FORMAT,
        "settings": relative(
            result.settings.model_dump(by_alias=True, mode="json", exclude_none=True, exclude=OUTPUTS),
            Path(path).parent,
        ),
        "scans": scans,
        "frames": [_frame_out(frame, f"frame{k}", arrays) for k, frame in enumerate(frames)],
        "judges": [_judge_out(judge) for judge in result.judges],
        "site": _site_out(result.site, arrays),
        "gaps": [dataclasses.asdict(gap) for gap in result.gaps],
    }
    arrays["about"] = np.frombuffer(json.dumps(about).encode(), np.uint8)
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **arrays)
    write_whole(path, buffer.getvalue(), overwrite=overwrite)


def kept_run(path: str | Path, ranked: Callable[[Result], Result] | None = None) -> Result:
    """The run again, without its rasters but with every placement's measures.

    Arguments: path; ranked, what to make of the run before any of it is ranked or described, so that a new ranking is not paid for
    with the old one too (`lambda run: run.rescore(weights)`); default: the ranking it had.
    Errors: InputRefused for another kind of file; those of `ranked`.
    """
    from tunnelsite.screening.result import Result
    from tunnelsite.screening.run import judged

    file = Path(path)
    if not file.is_file():
        raise InputRefused(f"kept run {file} is missing", "a file of `tunnelsite screen --keep`", "correct the path")
    try:
        site, *rest = _read(file)
        parts = (_ranked_from(site, file), *rest)
        # describing a candidate reads what no check here has looked at, so it belongs inside
        *measured, missing = parts
        unranked = Result(*measured, scored=[], here=[], choices=[], gaps=missing)
        result = judged(*parts) if ranked is None else ranked(unranked)
        _ = result.tables
    except (ResourceShortage, UsageError):
        raise
    except Exception as problem:  # a damaged or hostile file may raise anything in the libraries that read its parts
        other = not zipfile.is_zipfile(file)  # another kind of file altogether, such as the GeoPackage of the same run
        raise InputRefused(
            f"{file} is no kept run" if other else f"{file} is not a whole kept run ({type(problem).__name__})",
            "a file of `tunnelsite screen --keep`",
            "screen again with --keep",
        ) from None
    return result


def _read(file: Path):
    """(site, settings, scans, judges, gaps) of a kept run. Errors: whatever a broken file leads to."""
    from tunnelsite.scan.engine import Judge, Lost, Scan, Tally
    from tunnelsite.scan.open_ground import bars, open_ground
    from tunnelsite.screening.not_assessed import Gap

    arrays = stored_arrays(file)
    about = json.loads(arrays.pop("about").tobytes())
    if about["format"] != FORMAT:
        raise ValueError(about["format"])
    frames = [_frame_in(item, f"frame{k}", arrays) for k, item in enumerate(about["frames"])]
    for frame in frames:
        check_frame(frame)
    settings = Settings(**anchored(about["settings"], file.parent))
    judges = [Judge(_criterion(item), Rubric(**item["rubric"]), item["parameters"]) for item in about["judges"]]
    scans = []
    for k, item in enumerate(about["scans"]):
        frame, key = frames[range(len(frames))[item["frame"]]], f"scan{k}"
        pad = Pad(**item["pad"])
        # what the scan kept of it are counts; where a house may be shifted to is worked out again from the same shapes
        ground = open_ground(frame, pad, settings.setback_m, bars(frame, settings.clearance_m))
        rejected = _under(arrays, f"{key}.rejected.")
        ground = dataclasses.replace(ground, inside=arrays[f"{key}.inside"], rejected=rejected)
        tallies = {rule: [Tally(*values) for values in found] for rule, found in item["tallies"].items()}
        means, errors = _under(arrays, f"{key}.mean."), _under(arrays, f"{key}.se.")
        truths = {name: Truth(mean, errors[name]) for name, mean in means.items()}
        packed = (arrays[f"{key}.index"], arrays[f"{key}.owner"], _under(arrays, f"{key}.measure."))
        lost = {judge.id: _under(arrays, f"{key}.lost.{judge.id}.") for judge in judges}
        known = {
            rule: Lost(one.pop("index"), one.pop("owner"), _under(one, "measure.")) for rule, one in lost.items() if one
        }
        scan = Scan(frame, House(**item["house"]), pad, *packed, tallies, ground, truths, known)
        check_scan(scan, [(judge.id, judge.rubric) for judge in judges])
        scans.append(scan)
    if not scans or not judges:
        raise ValueError("nothing was kept")
    return _site_in(about["site"], arrays), settings, scans, judges, [Gap(**gap) for gap in about["gaps"]]


def _ranked_from(site: Site, file: Path) -> Site:
    note = f"ranked again from a kept run, {file_name(file)}, SHA-256 {sha256(file)}"
    return dataclasses.replace(site, notes=(note,))


def _under(arrays: dict[str, np.ndarray], start: str) -> dict[str, np.ndarray]:
    return {name[len(start) :]: values for name, values in arrays.items() if name.startswith(start)}


def _judge_out(judge) -> dict[str, Any]:
    about = judge.criterion.description
    return {
        "description": {name: getattr(about, name) for name in ("id", "title", "text", "unit", "source")},
        "reads": [[spec.id, spec.unit, spec.title] for spec in about.reads if not spec.optional],
        "rubric": dataclasses.asdict(judge.rubric),
        "parameters": judge.parameters,
    }


def _criterion(item: dict[str, Any]) -> Criterion:
    reads = tuple(LayerSpec(*spec) for spec in item["reads"])
    return Criterion(Description(**item["description"], reads=reads), _not_measured)


def _not_measured(site, **parameters):
    raise InputRefused("a kept run measures nothing", "stored measures", "screen again")


def _features_out(features: Features | None, key: str, arrays: dict[str, np.ndarray]) -> dict[str, Any] | None:
    if features is None:
        return None
    blobs = shapely.to_wkb(features.geometry)
    arrays[f"{key}.wkb"] = np.frombuffer(b"".join(blobs), np.uint8)
    arrays[f"{key}.ends"] = np.cumsum([len(blob) for blob in blobs], dtype=np.int64)
    crs = None if features.crs is None else features.crs.to_wkt()
    plain = {"crs": crs, "name": features.name, "sha256": features.sha256, "notes": list(features.notes)}
    return plain | {"distance_m": features.distance_m}


def _features_in(item: dict[str, Any] | None, key: str, arrays: dict[str, np.ndarray]) -> Features | None:
    if item is None:
        return None
    data, ends = arrays[f"{key}.wkb"].tobytes(), arrays[f"{key}.ends"].tolist()
    if sorted(ends) != ends or (ends[-1] if ends else 0) != len(data):
        raise ValueError("shapes do not fill their array")
    geometry = np.empty(len(ends), object)
    starts = [0, *ends][: len(ends)]  # a layer may have no features at all
    geometry[:] = shapely.from_wkb([data[a:b] for a, b in zip(starts, ends, strict=True)])
    crs = None if item["crs"] is None else pyproj.CRS.from_wkt(item["crs"])
    return Features(geometry, {}, crs, item["name"], item["sha256"], tuple(item["notes"]), item["distance_m"])


def _frame_out(frame: Frame, key: str, arrays: dict[str, np.ndarray]) -> dict[str, Any]:
    arrays |= {f"{key}.layer.{name}": frame.layers[name] for name in LAYERS if name in frame.layers}
    parcels = Features(np.asarray(frame.parcels, object), {}, None)
    return {
        "grid": dataclasses.asdict(frame.grid),
        "plain": {name: getattr(frame, name) for name in PLAIN},
        "error": dataclasses.asdict(frame.error),
        "parcels": _features_out(parcels, f"{key}.parcels", arrays),
        "structures": _features_out(frame.structures, f"{key}.structures", arrays),
        "outlines": _features_out(Features(np.asarray(frame.outlines, object), {}, None), f"{key}.outlines", arrays),
        "keep_outs": [_features_out(item, f"{key}.keep{k}", arrays) for k, item in enumerate(frame.keep_outs)],
        "soils": _features_out(frame.soils, f"{key}.soils", arrays),
        "soil_columns": _soil_columns(frame.soils),
    }


def _soil_columns(soils: Features | None) -> dict[str, list[str | None]]:
    """What the flags of a candidate say of its soil, as text; None where it is blank."""
    from tunnelsite.scan.soils import CLASS_COLUMNS, GROUP_COLUMNS

    wanted = {} if soils is None else soils.columns
    known = {name: values for name, values in wanted.items() if name.lower() in (*CLASS_COLUMNS, *GROUP_COLUMNS)}
    return {name: [str(one) if isinstance(one, str) else None for one in values] for name, values in known.items()}


def _soils_in(item: dict[str, Any], key: str, arrays: dict[str, np.ndarray]) -> Features | None:
    soils = _features_in(item.get("soils"), f"{key}.soils", arrays)  # runs kept by an earlier version have none
    if soils is None:
        return None
    columns = {str(name): np.array(values, object) for name, values in item["soil_columns"].items()}
    if any(values.shape != (len(soils),) for values in columns.values()):
        raise ValueError("columns of the soils do not fit their shapes")
    return dataclasses.replace(soils, columns=columns)


def _frame_in(item: dict[str, Any], key: str, arrays: dict[str, np.ndarray]) -> Frame:
    return Frame(
        grid=Grid(**item["grid"]),
        layers=_under(arrays, f"{key}.layer."),
        units={},
        parcels=_features_in(item["parcels"], f"{key}.parcels", arrays).geometry,
        structures=_features_in(item["structures"], f"{key}.structures", arrays),
        keep_outs=tuple(_features_in(one, f"{key}.keep{k}", arrays) for k, one in enumerate(item["keep_outs"])),
        soils=_soils_in(item, key, arrays),
        outlines=_features_in(item["outlines"], f"{key}.outlines", arrays).geometry,
        error=ErrorModel(**item["error"]),
        **item["plain"],
    )


def _site_out(site: Site, arrays: dict[str, np.ndarray]) -> dict[str, Any]:
    dem = {name: getattr(site.dem, name) for name in ("affine", "datum_m", "name", "sha256", "unit")}
    services = {name: {"name": item.name, "sha256": item.sha256} for name, item in site.services.items()}
    return {
        "dem": dem | {"crs": site.dem.crs.to_wkt(), "notes": list(site.dem.notes)},
        "parcels": _features_out(site.parcels, "site.parcels", arrays),
        "services": services,
        "others": [
            [item.name, item.sha256]
            for item in site.inputs[2:]
            if item.name not in [s["name"] for s in services.values()]
        ],
    }


def _site_in(item: dict[str, Any], arrays: dict[str, np.ndarray]) -> Site:
    dem = item["dem"]
    raster = SourceRaster(
        np.empty((0, 0), np.float32),
        tuple(dem["affine"]),
        pyproj.CRS.from_wkt(dem["crs"]),
        dem["datum_m"],
        dem["name"],
        dem["sha256"],
        dem["unit"],
        tuple(dem["notes"]),
    )
    empty = np.empty(0, object)
    services = {name: Features(empty, name=one["name"], sha256=one["sha256"]) for name, one in item["services"].items()}
    others = tuple(Features(empty, name=name, sha256=sha256) for name, sha256 in item["others"])
    parcels = _features_in(item["parcels"], "site.parcels", arrays)
    return Site(raster, parcels, keep_outs=others, services=services)  # named for the run table only
