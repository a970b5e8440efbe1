"""The site, the frames and their features as a kept run holds them: plain values and arrays."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pyproj
import shapely

from tunnelsite.core.elevation_error import CELL_ERROR, ErrorModel
from tunnelsite.core.grid import Grid
from tunnelsite.core.layers import Features, SourceRaster
from tunnelsite.core.site import Frame, Site

PLAIN = ("datum_m", "parcel_names", "lon_deg", "lat_deg", "notes", "dem_cell_m", "step_m", "surface_like", "doubts")
# what describing a candidate reads, and what water on drawn grounds goes on from
LAYERS = ("ground", CELL_ERROR, "open_edge", "standing_m", "worst_month", "ponding_m", "upslope_m2", "flow_direction")


def under(arrays: dict[str, np.ndarray], start: str) -> dict[str, np.ndarray]:
    """The arrays whose names begin with a text, by the rest of their names."""
    return {name[len(start) :]: values for name, values in arrays.items() if name.startswith(start)}


def features_out(features: Features | None, key: str, arrays: dict[str, np.ndarray]) -> dict[str, Any] | None:
    """Features as plain values, without their columns; their shapes go into `arrays`."""
    if features is None:
        return None
    blobs = shapely.to_wkb(features.geometry)
    arrays[f"{key}.wkb"] = np.frombuffer(b"".join(blobs), np.uint8)
    arrays[f"{key}.ends"] = np.cumsum([len(blob) for blob in blobs], dtype=np.int64)
    crs = None if features.crs is None else features.crs.to_wkt()
    plain = {"crs": crs, "name": features.name, "sha256": features.sha256, "notes": list(features.notes)}
    return plain | {"distance_m": features.distance_m}


def _features_or_none(item: dict[str, Any] | None, key: str, arrays: dict[str, np.ndarray]) -> Features | None:
    return None if item is None else _features_in(item, key, arrays)


def _features_in(item: dict[str, Any], key: str, arrays: dict[str, np.ndarray]) -> Features:
    data, ends = arrays[f"{key}.wkb"].tobytes(), arrays[f"{key}.ends"].tolist()
    if sorted(ends) != ends or (ends[-1] if ends else 0) != len(data):
        raise ValueError("shapes do not fill their array")
    geometry = np.empty(len(ends), object)
    starts = [0, *ends][: len(ends)]  # a layer may have no features at all
    geometry[:] = shapely.from_wkb([data[a:b] for a, b in zip(starts, ends, strict=True)])
    crs = None if item["crs"] is None else pyproj.CRS.from_wkt(item["crs"])
    return Features(geometry, {}, crs, item["name"], item["sha256"], tuple(item["notes"]), item["distance_m"])


def frame_out(frame: Frame, key: str, arrays: dict[str, np.ndarray]) -> dict[str, Any]:
    """A frame as plain values; its arrays go into `arrays` under names that begin with `key`."""
    arrays |= {f"{key}.layer.{name}": frame.layers[name] for name in LAYERS if name in frame.layers}
    parcels = Features(np.asarray(frame.parcels, object), {}, None)
    return {
        "grid": dataclasses.asdict(frame.grid),
        "plain": {name: getattr(frame, name) for name in PLAIN},
        "no_data": frame.no_data,
        "error": None if frame.error is None else dataclasses.asdict(frame.error),
        "parcels": features_out(parcels, f"{key}.parcels", arrays),
        "structures": features_out(frame.structures, f"{key}.structures", arrays),
        "outlines": features_out(Features(np.asarray(frame.outlines, object), {}, None), f"{key}.outlines", arrays),
        "keep_outs": [features_out(item, f"{key}.keep{k}", arrays) for k, item in enumerate(frame.keep_outs)],
        "soils": features_out(frame.soils, f"{key}.soils", arrays),
        "soil_columns": _soil_columns(frame.soils),
    }


def _soil_columns(soils: Features | None) -> dict[str, list[str | None]]:
    """What the flags of a candidate say of its soil, as text; None where it is blank."""
    from tunnelsite.scan.soils import CLASS_COLUMNS, GROUP_COLUMNS

    wanted = {} if soils is None else soils.columns
    known = {name: values for name, values in wanted.items() if name.lower() in (*CLASS_COLUMNS, *GROUP_COLUMNS)}
    return {name: [str(one) if isinstance(one, str) else None for one in values] for name, values in known.items()}


def _soils_in(item: dict[str, Any], key: str, arrays: dict[str, np.ndarray]) -> Features | None:
    soils = _features_or_none(item.get("soils"), f"{key}.soils", arrays)  # runs kept by an earlier version have none
    if soils is None:
        return None
    columns = {str(name): np.array(values, object) for name, values in item["soil_columns"].items()}
    if any(values.shape != (len(soils),) for values in columns.values()):
        raise ValueError("columns of the soils do not fit their shapes")
    return dataclasses.replace(soils, columns=columns)


def frame_in(item: dict[str, Any], key: str, arrays: dict[str, np.ndarray]) -> Frame:
    """The frame again. Arguments: as `frame_out` made them."""
    return Frame(
        grid=Grid(**item["grid"]),
        layers=under(arrays, f"{key}.layer."),
        units={},
        no_data=item.get("no_data", {}),  # runs kept by an earlier version have none
        parcels=_features_in(item["parcels"], f"{key}.parcels", arrays).geometry,
        structures=_features_or_none(item["structures"], f"{key}.structures", arrays),
        keep_outs=tuple(_features_in(one, f"{key}.keep{k}", arrays) for k, one in enumerate(item["keep_outs"])),
        soils=_soils_in(item, key, arrays),
        outlines=_features_in(item["outlines"], f"{key}.outlines", arrays).geometry,
        error=None if item["error"] is None else ErrorModel(**item["error"]),
        **item["plain"],
    )


def site_out(site: Site, arrays: dict[str, np.ndarray]) -> dict[str, Any]:
    """What tables and the run table tell of a site, as plain values; its arrays go into `arrays`."""
    dem = {name: getattr(site.dem, name) for name in ("affine", "datum_m", "name", "sha256", "unit")}
    services = {name: {"name": item.name, "sha256": item.sha256} for name, item in site.services.items()}
    return {
        "dem": dem | {"crs": site.dem.crs.to_wkt(), "notes": list(site.dem.notes)},
        "parcels": features_out(site.parcels, "site.parcels", arrays),
        "services": services,
        "others": [
            [item.name, item.sha256]
            for item in site.inputs[2:]
            if item.name not in [s["name"] for s in services.values()]
        ],
    }


def site_in(item: dict[str, Any], arrays: dict[str, np.ndarray]) -> Site:
    """The site again, without its rasters."""
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
