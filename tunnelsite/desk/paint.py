"""Colours for map images: values to pixels with the legend that reads them back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tunnelsite.desk.map_messages import Legend, LegendClass, Tick
from tunnelsite.drawing.contours import nice_step
from tunnelsite.io.formats.styles import PALETTES

MOST_TICKS = 5
WATER_BLUES = ("#d6e6f5", "#9cc3e6", "#5b98d0", "#0b5cad", "#08306b")  # blue is for water alone
SLOPES = PALETTES["cividis"][::-1]
WARM = "#b4451f"  # a broken rule
PERIOD = 8  # pixels of a pattern


@dataclass(frozen=True)
class Painted:
    """An image: `rgba` uint8 [rows, cols, 4] and its legend."""

    rgba: np.ndarray
    legend: Legend


@dataclass(frozen=True)
class Ramp:
    """How values become colours: title and unit of the legend; words, a value as it is read; colours, low to high; ends [unit of the
    values], else those of the values; note."""

    title: str
    unit: str
    words: Callable[[float], str]
    colours: Sequence[str] = PALETTES["viridis"]
    ends: tuple[float, float] | None = None
    note: str = ""


def ramped(values: np.ndarray, ramp: Ramp, alpha: np.ndarray | int = 255) -> Painted:
    """Values [rows, cols] in even steps of colour; NaN is clear."""
    known = np.isfinite(values)
    low, high = ramp.ends or ((float(values[known].min()), float(values[known].max())) if known.any() else (0.0, 1.0))
    if not high > low:
        high = low + 1.0
    share = np.clip((np.where(known, values, low) - low) / (high - low), 0.0, 1.0)
    table = _table(ramp.colours)
    rgba = np.empty((*values.shape, 4), np.uint8)
    rgba[..., :3] = table[(share * 255).astype(np.uint8)]
    rgba[..., 3] = np.where(known, alpha, 0)
    return Painted(rgba, ramp_legend(ramp, low, high))


def ramp_legend(ramp: Ramp, low: float, high: float) -> Legend:
    """The legend of a ramp between two values."""
    step = nice_step(high - low, MOST_TICKS)
    at = np.arange(np.ceil(low / step) * step, high + step * 1e-6, step)
    ticks = [Tick(at=float((value - low) / (high - low)), words=ramp.words(float(value))) for value in at]
    return Legend(
        kind="ramp",
        title=ramp.title,
        unit=ramp.unit,
        low=Tick(at=0.0, words=ramp.words(low)),
        high=Tick(at=1.0, words=ramp.words(high)),
        colours=list(ramp.colours),
        ticks=ticks,
        note=ramp.note,
    )


def classed(code: np.ndarray, classes: Sequence[LegendClass], title: str, note: str = "") -> Painted:
    """Classes in their colour and pattern. Arguments: code, int [rows, cols], number of the class from 0, below 0 = none."""
    rgba = np.zeros((*code.shape, 4), np.uint8)
    row, col = np.ogrid[: code.shape[0], : code.shape[1]]
    for number, one in enumerate(classes):
        inside = code == number
        full = inside & pattern(one.pattern, row, col)
        rgba[inside] = (*_rgb(one.colour), 90)
        rgba[full] = (*_rgb(one.colour), 220)
    return Painted(rgba, Legend(kind="classes", title=title, classes=list(classes), note=note))


def pattern(name: str, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Where a pattern has ink, bool [rows, cols]."""
    if name == "diagonal":
        return np.asarray((row + col) % PERIOD < 2)
    if name == "counter":
        return np.asarray((row - col) % PERIOD < 2)
    if name == "cross":
        return np.asarray(((row + col) % PERIOD < 2) | ((row - col) % PERIOD < 2))
    if name == "dots":
        return (row % (PERIOD // 2) < 2) & (col % (PERIOD // 2) < 2)
    if name == "lines":
        return (row % (PERIOD // 2) < 1) & (col >= 0)
    return (row >= 0) & (col >= 0)


def grey(values: np.ndarray, legend: Legend) -> Painted:
    """Values 0 to 255 as grey."""
    known = np.isfinite(values)
    rgba = np.empty((*values.shape, 4), np.uint8)
    rgba[..., :3] = np.where(known, values, 0).astype(np.uint8)[..., None]
    rgba[..., 3] = np.where(known, 255, 0)
    return Painted(rgba, legend)


def _table(colours: Sequence[str]) -> np.ndarray:
    steps = np.array([_rgb(one) for one in colours], float)
    place = np.linspace(0, 255, len(steps))
    return (
        np.column_stack([np.interp(np.arange(256), place, steps[:, band]) for band in range(3)])
        .round()
        .astype(np.uint8)
    )


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
