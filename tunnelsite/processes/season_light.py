"""Light over a part of the year and in its darkest month: the share of the beam that terrain, trees and buildings let through."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from tunnelsite.core.describe import Description, LayerSpec
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer
from tunnelsite.core.needs import LAYERS, supplied
from tunnelsite.core.process import Inputs, Process, Progress, Values
from tunnelsite.kernels.bands import bands
from tunnelsite.kernels.light.far_horizon import far_view, raise_to_far
from tunnelsite.kernels.light.horizon import Rays, earth_drop_per_m
from tunnelsite.kernels.light.horizon_share import (
    Scene,
    add_folded,
    darkest,
    losses_bytes,
    no_losses,
    sector_tables,
    share_left,
)
from tunnelsite.processes.outlines_given import KIND, OUTLINES, outlines_of
from tunnelsite.processes.sun_asked import square_cell_m
from tunnelsite.processes.wanted_cells import WINDOWS, wanted_of

LEAST_ENERGY = 1e-9
LOSSES_BYTES = 1 << 30  # or as much as the heights take, where that is more
LEAST_MONTH = 0.02  # of the mean month's beam: a month that has less has no light to lose; no source
NOT_KNOWN = np.uint8(255)  # which month is the darkest
MONTH, PASSED = 3, 4  # columns of the sun's table
LEAFLESS = ("surface_leafless", "surface_leafless_2", "surface_leafless_3")


def _run(inputs: Inputs, parameters: Values, progress: Progress) -> dict[str, Layer]:
    ground, sun = inputs["ground"], inputs["sun"].values
    square_cell_m(ground, "season_light")
    months = _months(sun)
    total = sum(months.values())
    if not total > 0:  # polar night: there is nothing to have a share of
        share = np.full(ground.values.shape, np.nan, np.float32)
        return _made(SeasonLight(share, share, np.full(share.shape, NOT_KNOWN)), "No sun in this period", ground.cell_m)
    steps = ((sun[:, 0] - (parameters["bearing_deg"] - 90.0)) % 360.0, sun[:, 1])  # clockwise from the grid's own up
    azimuths = np.arange(parameters["azimuths"]) * (360.0 / parameters["azimuths"])
    azimuths = azimuths[sector_tables(*steps, sun[:, 2], azimuths)[0, :, 0] > 0]  # no horizon where no sun stands
    scene = _scene(inputs, parameters, azimuths, progress)
    of_month = [sun[:, MONTH] == month if month else np.ones(len(sun), bool) for month in months]
    views = []
    for heights, edges, energy in _parts(inputs, sun):
        monthly = [np.where(mine, energy / sum_m, 0.0) for mine, sum_m in zip(of_month, months.values(), strict=True)]
        views.append((replace(scene, surface=heights, edges=edges), sector_tables(*steps, np.array(monthly), azimuths)))
    return _made(_folded(views, azimuths, months, progress), "Share of the beam", ground.cell_m)


class SeasonLight(NamedTuple):
    """Share of the beam, the same in the darkest month, and that month (1-12, 0 none, 255 no data), [rows, cols] each."""

    share: np.ndarray
    worst: np.ndarray
    month: np.ndarray


def _folded(
    views: list[tuple[Scene, np.ndarray]], azimuths: np.ndarray, months: dict[int, float], progress: Progress
) -> SeasonLight:
    """The light of every cell of the scenes' window that has an observer, a band of rows at a time; NaN and month 255 elsewhere.

    Arguments: views, scenes with their tables.
    """
    whole = views[0][0].observer
    top, bottom, left, right = views[0][0].window or (0, whole.shape[0], 0, whole.shape[1])
    ground = whole[top:bottom, left:right]
    weights = np.array(list(months.values())) / sum(months.values())
    judged = np.flatnonzero(weights >= LEAST_MONTH / len(weights))
    names = np.zeros(256, np.uint8)
    names[: len(months)] = list(months)
    lost, most, month = (np.empty(ground.shape, kind) for kind in (np.uint16, np.uint16, np.uint8))
    parts = _parts_of_rows(ground.shape, len(months))
    for number, rows in enumerate(parts):
        losses = no_losses((rows[1] - rows[0], ground.shape[1]), len(months))
        for k, (scene, tables) in enumerate(views):

            def pause(done: float, before: int = number * len(views) + k) -> None:
                progress("light", (before + done) / (len(parts) * len(views)))

            window = top + rows[0], top + rows[1], left, right
            add_folded(replace(scene, window=window), azimuths, tables, losses, pause)
        band = slice(*rows)
        lost[band], most[band], which = darkest(losses, weights, judged)
        month[band] = names[which]
        del losses, which
    place = slice(top, bottom), slice(left, right)
    share = _left(lost, whole, place, progress)
    del lost  # each array goes before the next one comes
    worst = _left(most, whole, place, progress)
    del most
    if month.shape != whole.shape:
        inner, month = month, np.full(whole.shape, NOT_KNOWN)
        month[place] = inner
    month[np.isnan(worst)] = NOT_KNOWN
    return SeasonLight(share, worst, month)


def _left(lost: np.ndarray, observer: np.ndarray, place: tuple[slice, slice], progress: Progress) -> np.ndarray:
    """What is left of what is lost at the cells of `place`, float32 of the observers' shape; NaN where they are, and elsewhere."""
    left = np.full(observer.shape, np.nan, np.float32)
    for rows in bands(lost.shape):
        left[place][rows] = share_left(lost[rows], observer[place][rows])
        progress("light", 1.0)  # observers that live in a file may leave memory
    return left


def _parts_of_rows(shape: tuple[int, int], tables: int) -> list[tuple[int, int]]:
    """Bands of rows, the first and the past-the-last, of which the losses of light take LOSSES_BYTES at most, or as much as the heights.
    Every band walks over all of the land, so there are no more than have to be."""
    cells = shape[0] * shape[1]
    count = max(1, -(-cells * losses_bytes(tables) // max(LOSSES_BYTES, 4 * cells)))
    ends = [shape[0] * k // count for k in range(count + 1)]
    return [(top, bottom) for top, bottom in pairwise(ends) if bottom > top]


def _months(sun: np.ndarray) -> dict[int, float]:
    """Beam of each month [Wh/m2] that has some, in the order of the table; one, 0, where the table names none."""
    if sun.shape[0] == 0:
        return {}
    month = sun[:, MONTH].astype(int) if sun.shape[1] > MONTH else np.zeros(len(sun), int)
    sums = {name: float(sun[month == name, 2].sum()) for name in dict.fromkeys(month.tolist())}
    return {name: value for name, value in sums.items() if value > LEAST_ENERGY * sum(sums.values())}


def _made(light: SeasonLight, title: str, cell_m: tuple[float, float]) -> dict[str, Layer]:
    return {
        "beam_share": Layer(light.share, "1", title, cell_m),
        "beam_share_worst": Layer(light.worst, "1", f"{title}, darkest month", cell_m),
        "worst_month": Layer(light.month, "1", "Darkest month", cell_m),
    }


def _scene(inputs: Inputs, parameters: Values, azimuths: np.ndarray, progress: Progress) -> Scene:
    """Who sees what, towards these azimuths, before a surface is chosen."""
    ground = inputs["ground"]
    rays = Rays(drop_per_m=earth_drop_per_m(), lift_m=parameters["light_height_m"])
    wanted = wanted_of(inputs, ground.values.shape, "season_light")
    observer, window = ground.values, (0, ground.values.shape[0], 0, ground.values.shape[1])
    if wanted is not None:
        window = wanted.box
        if len(wanted.windows) > 1:  # an eye without a height sees nothing
            observer = np.where(wanted.cells(), observer, np.float32(np.nan))
    scene = Scene(ground.values, observer, ground.cell_m[0], rays, window=window)
    if "far_ground" not in inputs:
        return scene
    top, bottom, left, right = window
    far, eye = inputs["far_ground"], observer[top:bottom, left:right] + np.float32(parameters["light_height_m"])
    cells = scene.cell_m, square_cell_m(far, "far_ground")
    level = Rays(drop_per_m=rays.drop_per_m)
    corner_m = far.corner_m[0] + top * scene.cell_m, far.corner_m[1] + left * scene.cell_m
    beyond = raise_to_far(far_view(far.values, eye, cells, corner_m, azimuths, level), eye, (top, left))
    progress("far horizon", 1.0)
    return replace(scene, beyond=beyond)


def _parts(inputs: Inputs, sun: np.ndarray) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """(surface, outlines on it, energy of each sun step that needs to clear it): the beam cut into slices by what crowns of a kind pass.

    Surface 0 holds no thin crowns, each next one also the next kind, which passes more, t1 <= t2 <= ...; the last holds all. A beam
    through several crowns is cut by the densest. Then it carries the share t of its energy exactly if it clears everything that
    passes less than t, so the slice from t_k to t_k+1 has to clear surface k: exact, one pass a surface. With one kind:
    E t [above all but crowns] + E (1 - t) [above all].
    """
    top = inputs["surface"].values
    surfaces = [inputs[name].values for name in LEAFLESS if name in inputs and inputs[name].values is not top]
    levels = np.column_stack([np.zeros(len(sun)), sun[:, PASSED : PASSED + len(surfaces)], np.ones(len(sun))])
    slices = np.diff(levels, axis=1)
    if slices.shape[1] != len(surfaces) + 1 or (slices < 0).any():
        raise UsageError(
            f"season_light was given {len(surfaces)} surfaces without crowns and {sun.shape[1] - PASSED} columns of what they pass",
            "as many of both, from the densest crowns to the thinnest, 0 to 1",
            "give the sun a column for each surface",
        )
    energy = sun[:, 2:3] * slices
    drawn = outlines_of(inputs)
    kinds = [*range(len(surfaces)), np.inf]  # surface k holds the crowns of the kinds up to k
    parts = [
        (heights, drawn[drawn[:, KIND] <= kinds[k], :KIND], energy[:, k]) for k, heights in enumerate([*surfaces, top])
    ]
    return [part for part in parts if part[2].sum() > LEAST_ENERGY * energy.sum()]


PROCESS = Process(
    Description(
        "season_light",
        "Light of a season",
        "Beam energy on a horizontal plane received over a part of the year, as a share of what a flat horizon would let in: the "
        "horizon of every cell, at any distance in the data, against the sun's path; and the same for the month that loses most of its "
        "own beam there. Bare deciduous crowns pass a part of it.",
        reads=(
            LayerSpec("ground", "m", "bare ground"),
            LayerSpec("surface", "m", "ground plus what stands on it"),
            LAYERS["sun"],
            OUTLINES,
            LayerSpec(LEAFLESS[0], "m", "the surface without crowns that pass light", optional=True),
            LayerSpec(LEAFLESS[1], "m", "the same with the densest kind of them", optional=True),
            LayerSpec(LEAFLESS[2], "m", "the same with the two densest kinds of them", optional=True),
            LAYERS["far_ground"],
            WINDOWS,
        ),
        makes=(
            LayerSpec("beam_share", "1", "beam energy received / received with a flat horizon", half=True),
            LayerSpec("beam_share_worst", "1", "the same in the month that loses most"),
            LayerSpec(
                "worst_month",
                "1",
                "the month that loses most, 1 to 12; 0 where none loses any, 255 no data",
                no_data=int(NOT_KNOWN),
            ),
        ),
        parameters=(
            supplied("bearing_deg"),
            supplied("azimuths"),
            supplied("light_height_m"),
        ),
        source="reda-andreas-2003, ineichen-perez-2002, heisler-1986, heisler-1985",
    ),
    _run,
)
