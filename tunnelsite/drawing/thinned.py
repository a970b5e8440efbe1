"""Pictures made smaller for a page that carries many: points that no eye can tell apart are left out."""

from __future__ import annotations

import re

import numpy as np
import shapely

UNSEEN = 0.25  # of a picture's unit (a page shows about one unit a pixel)
_PATH = re.compile(r' d="([^"]*)"')
_PART = re.compile(r"M([^MZ]*)(Z?)")


def short_svg(svg: str, unseen: float = UNSEEN) -> str:
    """An SVG document whose polylines keep only the points needed to stay within `unseen` units of what they were.

    Only paths of absolute `M`, `L` and `Z` are touched, as `drawing.svg` and the maps write them; others stay as they are.
    Source of the thinning: Douglas and Peucker (1973), through shapely.
    """
    return _PATH.sub(lambda found: f' d="{_short_path(found[1], unseen)}"', svg)


def _short_path(path: str, unseen: float) -> str:
    if re.search("[^-0-9.MLZ \n]", path) or not path.startswith("M"):
        return path
    return "".join(_short_part(words, closed, unseen) for words, closed in _PART.findall(path))


def _short_part(words: str, closed: str, unseen: float) -> str:
    points = np.array([pair.split() for pair in words.strip().split("L")], float)
    if closed and len(points) > 2:
        points = np.vstack([points, points[:1]])
    if len(points) > 2:
        thin = shapely.get_coordinates(shapely.simplify(shapely.linestrings(points), unseen, preserve_topology=False))
        points = thin if len(thin) >= 2 else points
    if closed and len(points) > 2:
        points = points[:-1]
    whole = np.round(points * 10).astype(int)  # tenths, then steps between them, so that rounding does not add up
    steps = np.diff(whole, axis=0)
    start = f"M{_tenths(whole[0, 0])} {_tenths(whole[0, 1])}"
    lines = " ".join(f"{_tenths(x)} {_tenths(y)}" for x, y in steps)
    return start + (f"l{lines}" if lines else "") + closed


def _tenths(value: int) -> str:
    sign, (whole, rest) = "-" if value < 0 else "", divmod(abs(int(value)), 10)
    return f"{sign}{whole or ('' if rest else '0')}" + (f".{rest}" if rest else "")
