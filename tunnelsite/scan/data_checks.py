"""What the elevation data cannot tell: refused where nothing can be judged, noted where the answer is a bound."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from tunnelsite.core.errors import InputRefused, NoHeights
from tunnelsite.core.house import House
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame, Site, segments_of
from tunnelsite.core.units import FOOT_M
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.scan.lamps import lumens
from tunnelsite.scan.localise import centre_lonlat, native_cell_m
from tunnelsite.scan.pitch_error import WIDEST_CELL, shows_pitch
from tunnelsite.scan.soils import drainage_numbers
from tunnelsite.scan.surface import heights

FILLED_SHARE = 0.01  # of the heights exactly 0: real ground that crosses 0 holds far fewer (ours)


def check_houses(site: Site, cell_m: float | None, houses: Sequence[House]) -> list[str]:
    """Notes on houses that the cells are too coarse for, or whose sizes look mistaken. Errors: InputRefused as `_check_cell`."""
    return [*_check_cell(site, cell_m, houses), *_check_ridge(houses)]


def doubt_cells(frame: Frame, name: str, houses: Sequence[House]) -> None:
    """Let the frame say that its model cannot show how level the ground is. Arguments: frame; name of the file; houses wanted."""
    unseen = unseen_ground(frame, name, houses)
    if unseen:
        frame.doubts.append(
            f"{unseen}: pitch, crown and earthwork are not known and count half in every score. This answer tells which "
            "land to look at, not where to build. Get a model with cells of 3 m or finer"
        )


def unseen_ground(frame: Frame, name: str, houses: Sequence[House]) -> str:
    """That a model's cells are too wide for some of the houses, in words; empty where they are not. Arguments: as `doubt_cells`."""
    blind = [house for house in houses if not shows_pitch(frame, house)]
    if not blind:
        return ""
    narrow = min(blind, key=lambda house: house.width_m)
    return (
        f"cells of {name} are {frame.dem_cell_m or frame.grid.cell_m:.3g} m and cannot show how level the ground under a house "
        f"{_width(narrow)} wide is"
    )


def check_columns(features: Mapping[str, Features | None]) -> None:
    """Refuse features without the columns that a run reads. Arguments: features by name (obstacles, lamps, soils). Errors: InputRefused."""
    for name, needed in (("obstacles", heights), ("lamps", lumens), ("soils", drainage_numbers)):
        given = features.get(name)
        if given is not None and len(given):
            needed(given)


def _check_cell(site: Site, cell_m: float | None, houses: Sequence[House]) -> list[str]:
    """Notes on cells too coarse for the houses. Errors: InputRefused where a cell is wider than the narrowest house."""
    lon, lat = centre_lonlat(site)
    own = native_cell_m(site.dem, lon, lat)
    house = min(houses, key=lambda one: one.width_m)
    cell, narrow = cell_m or own, house.width_m
    wanted = narrow / 3
    if cell > narrow:
        raise InputRefused(
            f"the cells of {site.dem.name} are {cell:.3g} m, wider than a house of {_width(house)}: its pitch cannot be judged",
            f"cells of {wanted:.2g} m or finer",
            f"get a finer DEM, or say --cell {wanted:.2g}m to interpolate this one for a rough screening of a region",
        )
    finer = []
    if cell < 0.98 * own:
        finer = [
            f"heights are interpolated to cells of {cell:.3g} m from {own:.3g} m: nothing new is known, and standard errors "
            "are those of the elevation model's own cells"
        ]
    if max(cell, own) > wanted and own <= WIDEST_CELL * narrow:  # wider ones are a doubt: `doubt_cells`
        finer.append(
            f"cells of {max(cell, own):.3g} m are coarse for a house {_width(house)} wide: {wanted:.2g} m or finer is wanted"
        )
    return finer


def _width(house: House) -> str:
    """The width of a house in the unit it was given in: `30 ft`, `9.14 m`."""
    return f"{house.width_m / FOOT_M:.4g} ft" if house.feet else f"{house.width_m:.3g} m"


def _check_ridge(houses: Sequence[House]) -> list[str]:
    """A note on a ridge that may be feet read as metres: higher than the house is wide, and than low houses are (5 m)."""
    return [
        f"a ridge of {house.ridge_m:.3g} m over a house {house.width_m:.3g} m wide is unusual; a length without a unit is in metres"
        for house in houses[:1]
        if house.ridge_m > max(house.width_m, 5.0)
    ]


def check_data(site: Site, frame: Frame, halo_m: float) -> None:
    """Refuse a DEM without a single known height in the parcels, before anything costly is computed; note where it ends."""
    grid = frame.grid
    area = shapely.area(frame.parcels)
    covered = shapely.area(shapely.intersection(frame.parcels, shapely.box(*grid.bounds)))
    short = np.flatnonzero(covered < 0.99 * area)
    if len(short):
        lost = 1 - covered[short].sum() / area[short].sum()
        names = ", ".join(frame.parcel_names[k] for k in short[:3]) + (" ..." if len(short) > 3 else "")
        frame.notes.append(f"{lost:.0%} of {names} lies beyond {site.dem.name} and was not looked at")
    _doubt_zeros(site, frame)
    near = halo_left(frame)
    if near < 0.98 * halo_m:
        frame.notes.append(
            f"{site.dem.name} ends {max(near, 0):.0f} m from the parcels ({halo_m:.0f} m were asked for): shade and water from "
            "beyond are not known, so there may be less sun there than is told"
        )
    elif frame.grid.bearing_deg % 90 == 0:  # a turned grid has corners beyond any window
        void = float(np.mean(~np.isfinite(frame.ground)))
        if void > 0.02:
            frame.notes.append(
                f"{void:.0%} of the land read round the parcels holds no heights: shade and water from there are not known"
            )
    edges = segments_of(shapely.union_all(frame.parcels))
    place = (grid.west_m, grid.north_m, grid.cell_m, grid.shape)
    if not any(
        np.isfinite(frame.ground[rows][polygon_mask(edges, *place, (rows.start, rows.stop))]).any()
        for rows in bands(grid.shape)
    ):
        raise NoHeights(
            f"{site.dem.name} holds no height inside the parcels of {site.parcels.name}{_why(site)}",
            "a DEM that covers the parcels",
            "get the tile of this place, or check the file's no-data value",
        )


def _doubt_zeros(site: Site, frame: Frame) -> None:
    """A doubt where many heights are exactly 0 in a model that is not rounded: voids of water and buildings filled with it."""
    values = site.dem.values
    known = int(np.count_nonzero(np.isfinite(values)))
    share = int(np.count_nonzero(values == np.float32(-site.dem.datum_m))) / max(known, 1)
    if share >= FILLED_SHARE and not frame.step_m:
        frame.doubts.append(
            f"{100 * share:.2g} % of the heights of {site.dem.name} are exactly 0, as where water and buildings were cut out and filled: "
            "a house may be offered on them. Say --zero-is-nodata, unless real ground lies at that very height"
        )


def _why(site: Site) -> str:
    """What was taken for no height, where that was given."""
    said = [
        note
        for note in site.dem.notes
        if "no data" in note or "no-data" in note or "treated" in note or "outside" in note
    ]
    return f" ({'; '.join(said)})" if said else ""


def halo_left(frame: Frame) -> float:
    """The least distance [m] between the parcels and the rim of the grid; negative where a parcel lies across it."""
    west, south, east, north = shapely.total_bounds(frame.parcels)
    left = frame.grid.bounds
    return float(min(west - left[0], south - left[1], left[2] - east, left[3] - north))
