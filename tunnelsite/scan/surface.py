"""The surface that casts shade: ground, surface model and obstacles in one raster; and what stands on the ground."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from tunnelsite.core.counting import counted, verb
from tunnelsite.core.crowns import BARE_TRANSMISSION, CrownKinds, crown_kinds
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame, segments_of
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.kernels.resample import bilinear_at

# A tree drawn as a point has a crown; where the file does not give it, half as wide as tall is common practice, no source.
CROWN_RADIUS_PER_HEIGHT = 0.25
LINE_WIDTH_M = 3.0  # a tree line or hedge drawn as a line without a width; common practice, no source
LEAST_RADIUS_M = 0.5
EDGE_CELLS = 8.0  # longer edges are cut, so that their tops follow the ground
LEAFLESS = ("surface_leafless", "surface_leafless_2", "surface_leafless_3")


def heights(features: Features) -> np.ndarray:
    """The `height_m` of each obstacle [m]. Errors: InputRefused where it is missing or not a height."""
    column = next((values for name, values in features.columns.items() if name.lower() == "height_m"), None)
    if column is None:
        raise InputRefused(
            f"{features.name} has the columns {', '.join(features.columns) or 'none'}",
            "a column height_m",
            "add the height of each obstacle above the ground in metres",
        )
    result = _numbers(column)
    bad = ~(np.isfinite(result) & (result > 0) & (result < 1000))
    if bad.any():
        raise InputRefused(
            f"{features.name} has {int(bad.sum())} obstacles without a sensible height_m, the first is feature "
            f"{int(np.argmax(bad)) + 1} with {column[int(np.argmax(bad))]!r}",
            "more than 0 and below 1000 m",
            "fill in the column",
        )
    return result


def _numbers(column: np.ndarray) -> np.ndarray:
    """The column as floats; what is empty or no number is NaN."""

    def plain(value: Any) -> float:
        try:
            return float(value)
        except (TypeError, ValueError):
            return np.nan

    return np.array([plain(value) for value in column], float)


def _optional(features: Features, name: str, fallback: np.ndarray) -> np.ndarray:
    column = next((values for key, values in features.columns.items() if key.lower() == name), None)
    if column is None:
        return fallback
    given = _numbers(column)
    return np.where(np.isfinite(given) & (given > 0), given, fallback)


def obstacle_shapes(features: Features) -> tuple[np.ndarray, np.ndarray]:
    """(polygons, heights [m]) of obstacles: points get their crown, lines their width."""
    tall = heights(features)
    radius = _optional(features, "crown_radius_m", np.maximum(tall * CROWN_RADIUS_PER_HEIGHT, LEAST_RADIUS_M))
    width = _optional(features, "width_m", np.full(len(tall), LINE_WIDTH_M))
    grow = np.choose(shapely.get_dimensions(features.geometry).clip(0, 2), [radius, width / 2, np.zeros(len(tall))])
    return shapely.buffer(features.geometry, grow, quad_segs=8), tall


def add_surface(frame: Frame, bare_transmission: float = BARE_TRANSMISSION) -> None:
    """Give the frame the layers `surface` (what casts shade) and `standing_m` (height above the ground).

    What stands is what the surface model holds (never below the ground, nothing where it has no data) and the obstacles. The surface is
    the ground with its crests and what stands on it. Where there are crowns that pass light (`core.crowns`), `surface_leafless` is the
    surface without them, and `surface_leafless_2` and `_3` hold the densest kind, or two, of them again. What was done is
    noted in the frame.

    Arguments: frame, whose layer `surface`, where there is one, is the ground with its crests, and `standing_m` the surface model above the
    ground; bare_transmission, of deciduous crowns without leaves, 0..1.
    """
    ground, model = frame.ground, frame.layers.get("standing_m")
    crests = frame.layers.get("surface", ground)
    standing = np.zeros_like(ground) if model is None else np.fmax(model, np.float32(0.0))
    if model is not None:
        _note_model(frame, model)
    standing[np.isnan(ground)] = np.nan
    crowns = crown_kinds(frame.obstacles, bare_transmission)
    for passed in range(len(crowns.kinds)):  # surface k holds everything but crowns of the kinds above k
        thin = crowns.of_obstacle > passed
        leafless = standing.copy()
        _burn(frame, leafless, thin, bare=True)  # the model holds these trees too: under their crowns it is the ground
        _burn(frame, leafless, ~thin)
        frame.keep(LEAFLESS[passed], _on_ground(leafless, ground, crests), "m")
    if crowns.kinds:
        frame.notes += crown_notes(crowns, model is not None)
    if frame.obstacles is not None and len(frame.obstacles):
        _burn(frame, standing, np.ones(len(frame.obstacles), bool))
        frame.outlines = obstacle_shapes(frame.obstacles)[0]
        away = int((~shapely.intersects(frame.outlines, shapely.box(*frame.grid.bounds))).sum())
        if away:
            frame.notes.append(
                f"{away} of {counted(len(frame.obstacles), 'obstacle')} {verb(away, 'lies', 'lie')} beyond the land "
                f"that was read (--halo) and "
                f"{verb(away, 'shades and shelters', 'shade and shelter')} nothing"
            )
    frame.crowns = crowns
    frame.keep("standing_m", standing, "m")
    frame.keep("surface", _on_ground(standing, ground, crests, instead=crests is not ground), "m")


def outline_edges(frame: Frame) -> np.ndarray:
    """Edges of the obstacles' outlines, float64 [n, 7]: row and column of one end and of the other [cells, whole numbers are cell
    centres], height of the top at either end [m above the datum], and the kind of crown (`CrownKinds.of_obstacle`).

    Tops follow the ground under the outline. Ends off the ground's data have no top (NaN).
    """
    if frame.obstacles is None or frame.crowns is None or not len(frame.obstacles):
        return np.empty((0, 7))
    shapes, tall = obstacle_shapes(frame.obstacles)
    grid = frame.grid
    parts, of_part = shapely.get_parts(shapely.segmentize(shapes, EDGE_CELLS * grid.cell_m), return_index=True)
    rings, of_ring = shapely.get_rings(parts, return_index=True)
    place, of_place = shapely.get_coordinates(rings, return_index=True)
    shape = of_part[of_ring[of_place]]
    row, col = (grid.north_m - place[:, 1]) / grid.cell_m - 0.5, (place[:, 0] - grid.west_m) / grid.cell_m - 0.5
    top = bilinear_at(frame.ground, row, col) + tall[shape]
    start = np.flatnonzero(of_place[:-1] == of_place[1:])
    ends = [values[at] for at in (start, start + 1) for values in (row, col)]
    return np.column_stack([*ends, top[start], top[start + 1], frame.crowns.of_obstacle[shape[start]]])


def _on_ground(standing: np.ndarray, ground: np.ndarray, crests: np.ndarray, *, instead: bool = False) -> np.ndarray:
    """What stands, on the ground, and never below its crests. Arguments: instead, whether it may take the place of the crests."""
    found = crests if instead else np.empty_like(crests)
    for rows in bands(ground.shape):
        np.maximum(ground[rows] + standing[rows], crests[rows], out=found[rows])
    return found


def _note_model(frame: Frame, model: np.ndarray) -> None:
    missing = dips = 0
    for rows in bands(model.shape):
        missing += int(np.count_nonzero(np.isnan(model[rows]) & ~np.isnan(frame.ground[rows])))
        dips += int(np.count_nonzero(model[rows] < -0.5))
    if missing:
        share = missing / model.size
        frame.notes.append(f"surface has no data on {share:.1%} of the cells: bare ground was used there")
    if dips:
        frame.notes.append(
            f"the surface model lies more than 0.5 m below the ground on {dips:,} cells: the ground was taken there"
        )


def crown_notes(crowns: CrownKinds, modelled: bool) -> list[str]:
    """What a reader should know about crowns that pass light."""
    many = int((crowns.of_obstacle > 0).sum())
    shares = ", ".join(f"{kind.in_leaf:g} in leaf and {kind.bare:g} bare" for kind in crowns.kinds)
    notes = [
        f"{counted(many, 'obstacle')} {verb(many, 'passes', 'pass')} a part of the beam ({shares}); "
        "crowns are taken to reach down to the ground"
    ]
    if modelled:
        notes.append(
            "the surface model holds these trees too: for the light they pass, the bare ground was taken inside their drawn outline, "
            "and the model as it is outside"
        )
    return [*notes, *crowns.notes]


def _burn(frame: Frame, standing: np.ndarray, chosen: np.ndarray, *, bare: bool = False) -> None:
    """Add the chosen obstacles to what stands, or (bare) take away what stands under them."""
    if frame.obstacles is None:
        return
    shapes, tall = obstacle_shapes(frame.obstacles)
    grid = frame.grid
    for shape, height in zip(shapes[chosen], tall[chosen], strict=True):
        west, south, east, north = shapely.bounds(shape)
        top, bottom = int((grid.north_m - north) // grid.cell_m), int((grid.north_m - south) // grid.cell_m) + 1
        left, right = int((west - grid.west_m) // grid.cell_m), int((east - grid.west_m) // grid.cell_m) + 1
        top, left, bottom, right = max(top, 0), max(left, 0), min(bottom, grid.rows), min(right, grid.cols)
        if top >= bottom or left >= right:
            continue
        part = grid.window(top, left, bottom - top, right - left)
        mask = polygon_mask(segments_of(shape), part.west_m, part.north_m, part.cell_m, part.shape)
        if not mask.any():  # thinner than a cell: it still casts shade, so the cell it stands in carries it
            point = shapely.get_coordinates(shapely.point_on_surface(shape))[0]
            row = min(max(int((grid.north_m - point[1]) // grid.cell_m) - top, 0), part.rows - 1)
            col = min(max(int((point[0] - grid.west_m) // grid.cell_m) - left, 0), part.cols - 1)
            mask[row, col] = True
        window = standing[top:bottom, left:right]
        window[mask] = 0.0 if bare else np.maximum(window[mask], np.float32(height))
