"""Drainage of a whole raster before its parcels are screened: tile by tile, on any workers, going on after a break.

The steps are those of `kernels.water.tiled_drainage`; each tile's answer to each step is a file in the parts folder, and what is solved
between the steps, on the cells of the tiles' perimeters alone, is solved here. So are results the same to the bit whatever the
tiles, the workers and the breaks. A raster of a few tiles is drained in one piece: a tenth of the work, and as much memory as those tiles.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tunnelsite.core.errors import InputRefused, ResourceShortage, TunnelsiteError
from tunnelsite.core.process import Progress
from tunnelsite.io.read.height_blocks import HeightBlocks
from tunnelsite.io.write.drained_tiles import DrainedTiles, is_whole, read_arrays, write_arrays, write_tile
from tunnelsite.io.write.outputs import make_folder
from tunnelsite.io.write.staging import write_whole
from tunnelsite.kernels.water.tile_frame import TileGrid, TilePlace, frame, grown, mine, spots
from tunnelsite.kernels.water.tiled_fill import Spills, perimeter_levels, refilled, tile_spills
from tunnelsite.kernels.water.tiled_flow import shorter_next_door, tile_directions, tile_steps, unknown_steps
from tunnelsite.kernels.water.tiled_upslope import Links, inflow_over_perimeters, tile_links, tile_upslope
from tunnelsite.region.drained_at_once import WholeWork, drain_at_once
from tunnelsite.region.worker_pool import Hands, RemoteCall, killed

TILE = 2048
BYTES_A_CELL = 150  # of memory, of a tile on its way
AT_ONCE = 4  # tiles' worth of cells that one worker has room for
FORMAT = "tunnelsite region drainage 1"


@dataclass(frozen=True)
class TileWork:
    """One tile on its way: small enough to be sent.

    Attributes: folder of the files; of, spot: the tiles and this one; blocks, its heights; spacing_m, (east, north) of the cells.
    """

    folder: Path
    of: TileGrid
    spot: TilePlace
    blocks: HeightBlocks
    spacing_m: tuple[float, float]

    def ground(self) -> np.ndarray:
        """Heights of the tile."""
        return self.blocks.read(*_window(self.spot))

    def filled(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """(ground, filled ground, that grown by a cell all round) of the tile, once the levels of all perimeters are known."""
        levels, ground = self.shared("levels"), self.ground()
        full = refilled(self.of, self.spot, ground, levels)
        return ground, full, grown(self.of, self.spot, full, levels, np.nan)

    def shared(self, name: str) -> np.ndarray:
        """A flat array of all perimeters, of which only what is looked at is read."""
        found: np.ndarray = np.load(self.folder / f"{name}.npy", mmap_mode="r")
        return found

    def file(self, step: str) -> Path:
        """Where the tile's answer to a step lies."""
        return _file(self.folder, step, self.spot.number)


def find_spills(piece: TileWork) -> None:
    """First step: how the tile drains over its perimeter."""
    write_arrays(piece.file("spills"), {k: np.asarray(v) for k, v in tile_spills(piece.ground())._asdict().items()})


def find_steps(piece: TileWork) -> None:
    """Second step: how far it is over level ground from the perimeter's cells to one that drains, within the tile."""
    found = tile_steps(piece.of, piece.spot, piece.filled()[2], piece.spacing_m, unknown_steps(piece.of))
    write_arrays(piece.file("steps"), {"steps": found})


def steps_again(piece: TileWork) -> np.ndarray:
    """The same with what the tiles around have found."""
    so_far = piece.shared("steps-so-far")
    found: np.ndarray = tile_steps(piece.of, piece.spot, piece.filled()[2], piece.spacing_m, so_far)
    return found


def find_links(piece: TileWork) -> None:
    """Third step: where water that enters the tile leaves it."""
    direction = tile_directions(piece.of, piece.spot, piece.filled()[2], piece.spacing_m, piece.shared("steps"))
    write_arrays(piece.file("links"), tile_links(direction)._asdict())


def drain(piece: TileWork) -> None:
    """Last step: the tile, drained."""
    ground, full, window = piece.filled()
    direction = tile_directions(piece.of, piece.spot, window, piece.spacing_m, piece.shared("steps"))
    inflow = (piece.shared("inflow"), piece.shared("inflow_open"))
    cells, open_edge = tile_upslope(piece.of, piece.spot, direction, inflow)
    layers = {"direction": direction[1:-1, 1:-1], "cells": cells, "open_edge": open_edge, "depth": full - ground}
    write_tile(piece.file("tile"), layers)


@dataclass(frozen=True)
class Drainage:
    """The drainage of one raster.

    Attributes: blocks, its heights; spacing_m, (east, north) of its cells; key of whatever it depends on; tiles, where it is kept.
    """

    blocks: HeightBlocks
    spacing_m: tuple[float, float]
    key: str
    tiles: DrainedTiles


def tile_count(shape: tuple[int, int]) -> int:
    """How many tiles a raster is drained in."""
    return -(-shape[0] // TILE) * -(-shape[1] // TILE)


def is_small(shape: tuple[int, int]) -> bool:
    """Whether a raster is drained in one piece."""
    return shape[0] * shape[1] <= AT_ONCE * TILE**2


def drainage_of(blocks: HeightBlocks, spacing_m: tuple[float, float], versions: Any, parts: Path) -> Drainage:
    """The drainage of a raster as it is to be found; nothing is computed yet.

    Arguments: blocks; spacing_m; versions, that another one makes another key; parts, the region's folder of finished parts.
    """
    stored, whole = blocks.rules.stored, blocks.tiles.whole
    basis = [FORMAT, blocks.tiles.sha256, blocks.rules.band, vars(stored), blocks.datum_m, blocks.drops_zeros]
    basis += [blocks.affine, blocks.shape, spacing_m, TILE, whole.crs.to_wkt(), versions]
    key = hashlib.sha256(json.dumps(basis, sort_keys=True).encode()).hexdigest()
    folder = parts.absolute() / f"drainage-{key[:24]}"
    return Drainage(blocks, spacing_m, key, DrainedTiles(folder, blocks.shape, TILE, blocks.affine, whole.crs.to_wkt()))


def drained(drainage: Drainage, windows: Iterable[tuple[slice, slice]], hands: Hands, progress: Progress) -> None:
    """Drain the raster and keep the tiles that hold any of the windows (rows, cols); what is there already is not done again.

    Errors: of the first tile that fails; ResourceShortage where a worker was killed.
    """
    tiles = drainage.tiles
    wanted = sorted({number for window in windows for number in tiles.numbers(*window)})
    progress("drainage", 0.0)
    if all(is_whole(tiles.path(number)) for number in wanted):
        progress("drainage", 1.0)
        return
    make_folder(tiles.folder, "a folder for the water of the whole DEM")
    if is_small(tiles.shape):
        whole = WholeWork(drainage.blocks, drainage.spacing_m, tiles, tuple(wanted))
        for _, outcome in hands.outcomes([RemoteCall(f"{drainage.key}-whole", drain_at_once, lambda: (whole,))]):
            if isinstance(outcome, BaseException):
                raise _reported(outcome)
        progress("drainage", 1.0)
        return
    at = _Pass(drainage, frame(tiles.shape, tiles.tile), hands, progress)
    at.step("spills", find_spills, at.all)
    at.solve("levels", lambda: {"levels": perimeter_levels(at.of, [_spills(one) for one in at.answers("spills")])})
    if not at.solved("steps"):
        at.step("steps", find_steps, at.all)
        at.save("steps", _settled(at))
    at.step("links", find_links, at.all)
    at.solve("inflow", lambda: _inflow(at))
    at.step("tile", drain, wanted)
    progress("drainage", 1.0)


class _Pass:
    """A drainage on its way through its steps."""

    def __init__(self, drainage: Drainage, of: TileGrid, hands: Hands, progress: Progress) -> None:
        self.of, self.spots = of, spots(of)
        self.all = range(len(self.spots))
        self._drainage, self._hands, self._progress = drainage, hands, progress
        self._folder = drainage.tiles.folder
        self._done = 0.0

    def step(self, name: str, function: Callable[[TileWork], None], numbers: Iterable[int]) -> None:
        """Have every tile's answer to one step, those that are not there yet."""
        todo = [k for k in numbers if not is_whole(_file(self._folder, name, k))]
        for done, _ in enumerate(self.run(name, function, todo), 1):
            self._progress("drainage", self._done + 0.25 * done / len(todo))
        self._done = min(self._done + 0.25, 1.0)

    def run(self, name: str, function: Callable[[TileWork], Any], numbers: Iterable[int]) -> Iterator[tuple[int, Any]]:
        """(number, what was returned) of every tile, as they come. Errors: that of the first tile that fails."""
        jobs = {
            f"{self._drainage.key}-{name}-{k}": RemoteCall(f"{self._drainage.key}-{name}-{k}", function, self._piece(k))
            for k in numbers
        }
        places = dict(zip(jobs, numbers, strict=True))
        for job, outcome in self._hands.outcomes(list(jobs.values())):
            if isinstance(outcome, BaseException):
                raise _reported(outcome)
            yield places[job.key], outcome

    def answers(self, name: str) -> Iterator[Any]:
        """Every tile's answer to a step, in order. Errors: InputRefused for one that is damaged."""
        for k in self.all:
            path = _file(self._folder, name, k)
            found = read_arrays(path)
            if found is None:
                path.unlink(missing_ok=True)
                raise InputRefused(f"{path} is damaged", "a file as it was written", "run again: it is made anew")
            yield found

    def solved(self, name: str) -> bool:
        """Whether a flat array of all perimeters is there."""
        try:
            return bool(len(np.load(self._folder / f"{name}.npy", mmap_mode="r")) == self.of.first[-1])
        except (OSError, ValueError, EOFError):
            return False

    def solve(self, name: str, solution: Callable[[], dict[str, np.ndarray]]) -> None:
        """Have flat arrays of all perimeters, the one of this name the last to be written."""
        if not self.solved(name):
            for one, values in solution().items():
                self.save(one, values)

    def save(self, name: str, values: np.ndarray) -> None:
        """Write a flat array of all perimeters."""
        stream = io.BytesIO()
        np.save(stream, values)
        write_whole(self._folder / f"{name}.npy", stream.getvalue(), overwrite=True)

    def shared(self, name: str) -> np.ndarray:
        """A flat array of all perimeters."""
        found: np.ndarray = np.load(self._folder / f"{name}.npy")
        return found

    def _piece(self, number: int) -> Callable[[], tuple[TileWork]]:
        spot, drainage = self.spots[number], self._drainage
        return lambda: (
            TileWork(self._folder, self.of, spot, drainage.blocks.near(*_window(spot)), drainage.spacing_m),
        )


def _settled(at: _Pass) -> np.ndarray:
    """Steps over level ground of all perimeters, tiles looked at again side by side until none gets shorter."""
    levels, unknown = at.shared("levels"), unknown_steps(at.of)
    steps = np.concatenate([one["steps"] for one in at.answers("steps")])
    waiting: set[int] = set()
    for spot in at.spots:
        waiting |= shorter_next_door(at.of, spot, levels, steps, unknown[mine(at.of, spot)])
    while waiting:
        at.save("steps-so-far", steps)
        was = steps.copy()
        for number, found in at.run("again", steps_again, sorted(waiting)):
            steps[mine(at.of, at.spots[number])] = found
        looked, waiting = waiting, set()
        for number in looked:
            part = mine(at.of, at.spots[number])
            waiting |= shorter_next_door(at.of, at.spots[number], levels, steps, was[part])
    return steps


def _inflow(at: _Pass) -> dict[str, np.ndarray]:
    links = [Links(**one) for one in at.answers("links")]
    cells, is_open = inflow_over_perimeters(at.of, at.spots, links)
    return {"inflow_open": is_open, "inflow": cells}


def _spills(stored: dict[str, np.ndarray]) -> Spills:
    return Spills(**{**stored, "count": stored["count"].item()})


def _window(spot: TilePlace) -> tuple[slice, slice]:
    return slice(spot.row, spot.row + spot.rows), slice(spot.col, spot.col + spot.cols)


def _file(folder: Path, step: str, number: int) -> Path:
    return folder / f"{step}-{number}.zip"


def _reported(problem: BaseException) -> BaseException:
    if isinstance(problem, TunnelsiteError):
        return problem
    if isinstance(problem, MemoryError) or killed(problem):
        return ResourceShortage(
            "the memory of a worker ran out while the raster was drained, or it was killed",
            f"about {BYTES_A_CELL * TILE**2 / 1e9:.1f} GB for each worker",
            "use fewer --workers",
        )
    return problem
