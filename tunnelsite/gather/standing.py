"""Trees and buildings as outlines with heights, from surface minus ground: what the model shows becomes something to correct."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from scipy import ndimage

from tunnelsite.core.grid import transformer
from tunnelsite.core.layers import Affine, SourceRaster
from tunnelsite.io.formats.geojson import collection_text, feature

LEAST_HEIGHT_M, LEAST_AREA_M2 = 2.0, 12.0
ROOF_STEP_M = 0.35  # a roof's plane goes on from cell to cell; crowns are rough
ROOF_WIDTH_M = 3.0  # no roof that matters is narrower
MOST_PIECES = 20_000


@dataclass(frozen=True)
class StandingShape:
    """Something that stands: outline [map units], height [m], whether it looks like a roof."""

    outline: shapely.Geometry
    height_m: float
    roof: bool


def standing_pieces(ground: SourceRaster, surface: np.ndarray, cell_m: float) -> list[StandingShape]:
    """Outlines of what stands at least 2 m over the ground on 12 m2 or more, the largest first, at most 20,000.

    Arguments: ground; surface [rows, cols] on the same cells, metres above the same datum as ground.values; cell_m.
    Cells whose neighbours in row and column lie on one straight line within 0.35 m are roof; what is left is canopy. Where the
    ground is void, as under roofs, that of the nearest known cell counts.
    """
    floor = _filled(ground.values)
    above = np.nan_to_num(surface - floor, nan=0.0)
    there = ndimage.binary_opening(above >= LEAST_HEIGHT_M, np.ones((2, 2), bool))
    wide = max(1, round(ROOF_WIDTH_M / cell_m / 2))
    flat = ndimage.binary_closing(_goes_on(surface) & there, iterations=1)
    roofs = ndimage.binary_dilation(ndimage.binary_opening(flat, iterations=wide), iterations=1) & there
    found = [*_pieces(roofs, above, ground, cell_m, True), *_pieces(there & ~roofs, above, ground, cell_m, False)]
    return sorted(found, key=lambda piece: -piece.outline.area)[:MOST_PIECES]


def _filled(values: np.ndarray) -> np.ndarray:
    empty = ~np.isfinite(values)
    if not empty.any() or empty.all():
        return values
    nearest = ndimage.distance_transform_edt(empty, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)])


def _pieces(
    mask: np.ndarray, above: np.ndarray, ground: SourceRaster, cell_m: float, roof: bool
) -> list[StandingShape]:
    labels, count = ndimage.label(mask)
    if count == 0:
        return []
    index = np.arange(1, count + 1)
    sizes, heights = ndimage.sum_labels(mask, labels, index), ndimage.maximum(above, labels, index)
    spots = ndimage.find_objects(labels)
    large = np.flatnonzero(sizes * cell_m**2 >= LEAST_AREA_M2)
    side = abs(ground.affine[0])
    return [
        StandingShape(
            _outline(labels[spots[k]] == k + 1, spots[k], ground.affine).simplify(0.7 * side), float(heights[k]), roof
        )
        for k in large[np.argsort(-sizes[large])][:MOST_PIECES]
    ]


def _goes_on(surface: np.ndarray) -> np.ndarray:
    """Cells where the surface is straight along the row and along the column: small second differences."""
    found = np.zeros(surface.shape, bool)
    with np.errstate(invalid="ignore"):
        down = np.abs(surface[:-2] - 2 * surface[1:-1] + surface[2:]) < ROOF_STEP_M
        along = np.abs(surface[:, :-2] - 2 * surface[:, 1:-1] + surface[:, 2:]) < ROOF_STEP_M
    found[1:-1, 1:-1] = down[:, 1:-1] & along[1:-1]
    return found


def _outline(mask: np.ndarray, spot: tuple[slice, slice], affine: Affine) -> shapely.Geometry:
    """The outline of cells: their squares put together, runs of a row at a time."""
    a, b, c, d, e, f = affine
    boxes = []
    for row in range(mask.shape[0]):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], mask[row].view(np.int8), [0]])))
        for start, stop in zip(edges[::2], edges[1::2], strict=True):
            cols, top = (start + spot[1].start, stop + spot[1].start), row + spot[0].start
            corners = [(cols[0], top), (cols[1], top), (cols[1], top + 1), (cols[0], top + 1)]
            boxes.append(shapely.Polygon([(a * x + b * y + c, d * x + e * y + f) for x, y in corners]))
    return shapely.union_all(boxes)


def standing_text(pieces: list[StandingShape], crs_wkt: str) -> str:
    """The pieces as GeoJSON (RFC 7946) with `height_m` and `kind` (building or tree), ready to be corrected and given as obstacles."""
    to_degrees = transformer(crs_wkt, "EPSG:4326").transform
    features = []
    for piece in pieces:
        places = shapely.transform(piece.outline, lambda xy: np.column_stack(to_degrees(xy[:, 0], xy[:, 1])))
        kind = "building" if piece.roof else "tree"
        words = {"height_m": round(piece.height_m, 1), "kind": kind, "from": "surface minus ground"}
        features.append(feature(places, words))
    return collection_text(features)
