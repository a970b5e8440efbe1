"""Soil polygons become a layer of drainage class."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import shapely

from tunnelsite.core.counting import counted, verb
from tunnelsite.core.errors import InputRefused
from tunnelsite.core.layers import Features
from tunnelsite.core.site import Frame, segments_of
from tunnelsite.core.soil_classes import CLASSES
from tunnelsite.kernels.polygon_mask import polygon_mask
from tunnelsite.scan.lamps import column

CLASS_COLUMNS = (
    "drainage_class",
    "drclassdcd",
    "drainagecl",
    "drainage",
)  # the middle two: columns of USDA soil tables
GROUP_COLUMNS = ("hydrologic_group", "hydgrpdcd", "hydgrp")


def class_number(words: object) -> float:
    """0 (excessively drained) to 6 (very poorly drained) from the words of a drainage class; NaN where they name none."""
    text = " ".join(re.findall(r"[a-z]+", str(words).lower())).removesuffix(" drained") + " drained"
    return float(CLASSES.index(text)) if text in CLASSES else np.nan


def _first_of(features: Features, names: tuple[str, ...]) -> np.ndarray | None:
    return next((found for name in names if (found := column(features, name)) is not None), None)


def drainage_numbers(soils: Features) -> np.ndarray:
    """Class number of each polygon, NaN where blank or unknown. Errors: InputRefused without a column of classes."""
    given = _first_of(soils, CLASS_COLUMNS)
    if given is None:
        raise InputRefused(
            f"{soils.name} has the columns {', '.join(soils.columns) or 'none'}",
            "a column drainage_class",
            "add the drainage class in words, such as 'moderately well drained'",
        )
    return np.array([class_number(value) for value in given], float)


def group_number(words: object) -> float:
    """1 to 4 for hydrologic soil groups A to D; of a dual group (A/D) the undrained one counts; NaN where no group is named."""
    text = str(words).upper().replace(" ", "")
    last = text.rpartition("/")[2]
    return float("ABCD".index(last) + 1) if re.fullmatch(r"[A-D](/D)?", text) else np.nan


def has_groups(soils: Features | None) -> bool:
    """Whether the soils have a column of hydrologic groups."""
    return soils is not None and len(soils) > 0 and _first_of(soils, GROUP_COLUMNS) is not None


def add_soils(frame: Frame) -> None:
    """Give the frame `drainage_class` (0 to 6, see CLASSES), `hydrologic_group` (1 to 4) where the soils have groups, and of each
    a `..._least`; nothing where there are no soils.

    NaN outside every polygon and where the class is blank or no known word: unknown is neither best nor worst. Where
    polygons overlap the wetter class holds. `..._least` is 0 there instead, so that its maximum is never too wet.
    Errors: InputRefused.
    """
    soils = frame.soils
    if soils is None or not len(soils):
        return
    number = drainage_numbers(soils)
    _add_numbers(frame, soils, ("drainage", "drainage_class"), number)
    _note(frame, soils, number)
    stated = _first_of(soils, GROUP_COLUMNS)
    if stated is not None:
        groups = np.array([group_number(value) for value in stated], np.float64)
        _add_numbers(frame, soils, ("hydrologic", "hydrologic_group"), groups)


def _add_numbers(frame: Frame, soils: Features, names: tuple[str, str], number: np.ndarray) -> None:
    """A layer of the number of the polygon that each cell lies in, NaN where unknown, and the same with 0 for unknown.

    Arguments: names, how that of the other layer begins and that of the layer; number, of each polygon.
    """
    grid = frame.grid
    layer = np.full(grid.shape, np.nan, np.float32)
    for shape, value in zip(soils.geometry, number, strict=True):
        if np.isnan(value) or shapely.is_empty(shape):
            continue
        west, south, east, north = shapely.bounds(shape)
        top, bottom = int((grid.north_m - north) // grid.cell_m), int((grid.north_m - south) // grid.cell_m) + 1
        left, right = int((west - grid.west_m) // grid.cell_m), int((east - grid.west_m) // grid.cell_m) + 1
        top, left, bottom, right = max(top, 0), max(left, 0), min(bottom, grid.rows), min(right, grid.cols)
        if top >= bottom or left >= right:
            continue
        part = grid.window(top, left, bottom - top, right - left)
        inside = polygon_mask(segments_of(shape), part.west_m, part.north_m, part.cell_m, part.shape)
        window = layer[top:bottom, left:right]
        window[inside] = np.fmax(window[inside], np.float32(value))
    start, name = names
    frame.keep(name, layer, "1")
    frame.keep(f"{start}_least", np.nan_to_num(layer, nan=0.0), "1")


def _note(frame: Frame, soils: Features, number: np.ndarray) -> None:
    unknown = np.isnan(number)
    if unknown.any():
        given = Counter(
            "blank" if value is None or not str(value).strip() or str(value) in ("nan", "None") else repr(str(value))
            for value in np.asarray(_first_of(soils, CLASS_COLUMNS), object)[unknown]
        )
        blank = int(unknown.sum())
        words = ", ".join(f"{count} x {word}" for word, count in given.most_common(4))
        frame.notes.append(
            f"{blank} of {counted(len(soils), 'polygon')} of {soils.name} {verb(blank, 'has', 'have')} no known drainage class ({words}): "
            "not assessed there"
        )


def soil_words(frame: Frame, shapes: np.ndarray) -> list[str]:
    """Drainage classes and hydrologic groups of the soils under each of some shapes [along/across m], in words; empty without soils."""
    soils = frame.soils
    if soils is None or not len(soils):
        return [""] * len(shapes)
    classes, groups = _first_of(soils, CLASS_COLUMNS), _first_of(soils, GROUP_COLUMNS)
    found: list[dict[str, None]] = [{} for _ in shapes]  # each once, in the order of the file
    at, under = shapely.STRtree(soils.geometry).query(shapes, predicate="intersects")
    lies = shapely.area(shapely.intersection(soils.geometry[under], np.asarray(shapes, object)[at])) > 0
    for one, k in sorted(zip(at[lies].tolist(), under[lies].tolist(), strict=True)):
        number = np.nan if classes is None else class_number(classes[k])
        words = "drainage class unknown" if np.isnan(number) else CLASSES[int(number)]
        group = "" if groups is None or groups[k] is None else str(groups[k]).strip()
        found[one][words + (f" (hydrologic group {group})" if group and group != "nan" else "")] = None
    return [", ".join(words) for words in found]
