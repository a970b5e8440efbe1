"""The ground as it might really be: correlated errors of the elevation model drawn over all candidates at once, and what the
criteria that read nothing but the ground measure there."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.core.criterion import Criterion
from tunnelsite.core.elevation_error import Waves, drawn_waves, field_on
from tunnelsite.core.site import Frame
from tunnelsite.kernels.coverage import axis_coverage, axis_weights
from tunnelsite.kernels.terrain.blade import BLADE_M
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.pitch_error import PitchError, counted_share, stated_error
from tunnelsite.scan.strip import Strip

CELLS_AT_ONCE = 2_000_000  # of drawn ground: 16 MB, however many draws are asked for
Measure = Callable[..., np.ndarray]


@dataclass(frozen=True)
class Drawn:
    """What was measured on drawn grounds, float64 [draws, placements]: `slope_along`, `slope_across` [fraction] of the
    footprint's plane; `measures` by criterion id, in the unit of each."""

    slope_along: np.ndarray
    slope_across: np.ndarray
    measures: dict[str, np.ndarray]


@dataclass(frozen=True)
class _Patch:
    """Placements of one scan, numbers `at` [n] of the list. `cells`, int64 [n, h, w], number of each cell in the frame. `ground`,
    float64 [n, h, w] [m]. `basis`, float64 [4, h, w]: level, along, across [cells] and crown, orthogonal under `share` [h, w],
    the footprint's weights. `sd_m`, float64 [n], error of one elevation; `hidden`, float64 [2, n], of the slopes along and
    across by ground that the model's cells hide [fraction]; `counted_m`, float64 [n], the error that the run counted there [m]."""

    scan: Scan
    at: np.ndarray
    cells: np.ndarray
    ground: np.ndarray
    basis: np.ndarray
    share: np.ndarray
    sd_m: np.ndarray
    hidden: np.ndarray
    counted_m: np.ndarray


def drawn_measures(
    chosen: Sequence[tuple[Scan, int]],
    errors: Sequence[PitchError],
    judges: Sequence[Judge],
    draws: tuple[int, int],
    pad_pitch: float,
) -> Drawn:
    """Measure placements again on drawn grounds.

    Arguments: chosen, (scan, packed placement) of each; errors, of each, their elevations' errors of one range; judges, whose
    criteria read the ground only; draws, (how many, seed); pad_pitch, slope a finished pad may keep [fraction].
    Return: Drawn; the same seed gives the same numbers, and draw k is the same however many are asked for.
    Source: fields of `core.elevation_error`. One field serves all placements of a draw, so neighbours err together. What the
    model's cells hide tilts each placement for itself; the roughness it adds is not drawn. Departure: what the model shows
    beyond the footprint's plane and crown holds one error already, so there the drawn error is added and both are
    shrunk until the ground is, on average, as rough as the model shows it. Plane and crown take the whole error.
    """
    count, seed = draws
    if count < 1 or len(errors) != len(chosen) or len({error.counted.seen[1] for error in errors}) > 1:
        raise ValueError("1 draw or more and an error a placement, all of one range, are expected")
    patches = list(_patches(chosen, errors))
    blank = (count, len(chosen))
    found = Drawn(np.full(blank, np.nan), np.full(blank, np.nan), {})
    found.measures.update({judge.id: np.full((count, len(chosen)), np.nan) for judge in judges})
    cells = max(sum(patch.cells.size for patch in patches), 1)
    step = max(1, CELLS_AT_ONCE // cells)
    for start in range(0, count, step):
        which = range(start, min(start + step, count))
        drawn = [_errors(patches, errors[0].counted.seen[1], (seed, draw)) for draw in which]
        for k, patch in enumerate(patches):
            grounds = _grounds(patch, np.stack([field[k] for field, _ in drawn]))
            tilts = np.stack([tilt[:, patch.at] for _, tilt in drawn], axis=1) * patch.hidden[:, None]
            _tilt(patch, grounds, tilts)
            _measured(patch, grounds, judges, pad_pitch, (slice(which.start, which.stop), found))
    return found


def _patches(chosen: Sequence[tuple[Scan, int]], errors: Sequence[PitchError]) -> Iterator[_Patch]:
    scans: list[Scan] = []
    for scan, _ in chosen:
        if not any(scan is known for known in scans):
            scans.append(scan)
    for scan in scans:
        at = np.array([k for k, (one, _) in enumerate(chosen) if one is scan])
        yield _patch(scan, at, np.array([chosen[k][1] for k in at]), [errors[k] for k in at])


def _patch(scan: Scan, at: np.ndarray, items: np.ndarray, errors: list[PitchError]) -> _Patch:
    grid = scan.frame.grid
    reach = [axis_coverage(size / grid.cell_m).reach for size in (scan.pad.width_m, scan.pad.length_m)]
    spare = int(np.ceil(BLADE_M / grid.cell_m)) + 1  # depths are looked for along the pad's edges, between cells
    v, u = (np.arange(-part - spare, part + spare + 1) for part in reach)
    row, col = np.divmod(scan.index[items], grid.cols)
    cells = _cells(row, col, v, u, grid.shape)
    across = _padded(axis_weights(scan.house.width_m / grid.cell_m), v.size)
    along = _padded(axis_weights(scan.house.length_m / grid.cell_m), u.size)
    across, along = across / across.sum(), along / along.sum()
    crown = v**2 - across @ v**2
    ones = np.ones((v.size, u.size))
    basis = np.stack([ones, ones * u, ones * v[:, None], ones * crown[:, None]])
    heights = scan.frame.ground.ravel()
    ground = heights[cells].astype(np.float64)
    v_pad, u_pad = (np.clip(axis, -part, part) for axis, part in zip((v, u), reach, strict=True))
    beside = heights[
        _cells(row, col, v_pad, u_pad, grid.shape)
    ]  # a height beside the pad that is not known counts as on it
    ground = np.where(np.isnan(ground), beside, ground)
    sd = np.array([error.counted.seen[0] for error in errors])
    hidden = np.nan_to_num([error.hidden for error in errors]).T  # not known tilts nothing
    stated = scan.frame.error or stated_error(scan.frame, None, None)
    counted = stated.sd_m * counted_share(scan.frame, (row, col), stated)
    return _Patch(scan, at, cells, ground, basis, np.outer(across, along), sd, hidden, counted)


def _cells(row: np.ndarray, col: np.ndarray, v: np.ndarray, u: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Numbers in the frame of the cells round each centre, int64 [n, h, w]; beyond the frame those at its edge."""
    rows = np.clip(row[:, None, None] + v[:, None], 0, shape[0] - 1)
    found: np.ndarray = rows * np.int64(shape[1]) + np.clip(col[:, None, None] + u, 0, shape[1] - 1)
    return found


def _padded(weights: np.ndarray, size: int) -> np.ndarray:
    """Weights of the footprint in the middle of the pad's cells."""
    spare = (size - weights.size) // 2
    return np.pad(weights, spare)


def _errors(patches: list[_Patch], range_m: float, seed: tuple[int, int]) -> tuple[list[np.ndarray], np.ndarray]:
    """One drawn field over every patch [m], and standard normal tilts [2, placements]."""
    numbers = np.random.default_rng(seed)
    if range_m > 0:
        waves = drawn_waves(numbers, range_m)
        fields = [_on_patch(patch, waves) for patch in patches]
    else:
        fields = _independent(patches, numbers)
    tilts = numbers.standard_normal((2, sum(patch.at.size for patch in patches)))
    return [field * patch.sd_m[:, None, None] for field, patch in zip(fields, patches, strict=True)], tilts


def _on_patch(patch: _Patch, waves: Waves) -> np.ndarray:
    grid = patch.scan.frame.grid
    return field_on(waves, grid, *np.divmod(patch.cells[:, 0, 0], grid.cols), patch.cells.shape[1:])


def _independent(patches: list[_Patch], numbers: np.random.Generator) -> list[np.ndarray]:
    """An error of variance 1 for every cell; those that two pads share err alike."""
    found: dict[int, np.ndarray] = {}
    frames = {id(patch.scan.frame): patch.scan.frame for patch in patches}
    for key in frames:
        mine = [k for k, patch in enumerate(patches) if id(patch.scan.frame) == key]
        known, where = np.unique(np.concatenate([patches[k].cells.ravel() for k in mine]), return_inverse=True)
        error = numbers.standard_normal(known.size)[where.ravel()]
        ends = np.cumsum([patches[k].cells.size for k in mine])[:-1]
        found |= {k: part.reshape(patches[k].cells.shape) for k, part in zip(mine, np.split(error, ends), strict=True)}
    return [found[k] for k in range(len(patches))]


def _tilt(patch: _Patch, grounds: np.ndarray, tilts: np.ndarray) -> None:
    """Tilt grounds [draws, n, h, w] along and across by slopes [2, draws, n] [fraction]; rows run south."""
    cell = patch.scan.frame.grid.cell_m
    for slope, lean in zip(tilts, (patch.basis[1], -patch.basis[2]), strict=True):
        grounds += slope[..., None, None] * cell * lean


def _grounds(patch: _Patch, errors: np.ndarray) -> np.ndarray:
    """Ground less error, float64 [draws, n, h, w], as rough on average as the model; see `drawn_measures`."""
    ground_fit, error_fit = _fitted(patch, patch.ground), _fitted(patch, errors)
    rough, noise = patch.ground - ground_fit, errors - error_fit
    shown, added = (np.einsum("...hw,hw->...", part**2, patch.share) for part in (rough, noise))
    both = shown + added
    shrunk = np.sqrt(np.divide(shown, both, out=np.ones_like(both), where=both > 0))
    found: np.ndarray = ground_fit - error_fit + shrunk[..., None, None] * (rough - noise)
    return found


def _fitted(patch: _Patch, values: np.ndarray) -> np.ndarray:
    size = np.einsum("khw,hw->k", patch.basis**2, patch.share)
    part = np.einsum("...hw,khw->...k", values, patch.basis * patch.share)
    part = np.divide(part, size, out=np.zeros_like(part), where=size > 1e-12)
    found: np.ndarray = np.einsum("...k,khw->...hw", part, patch.basis)
    return found


def _measured(
    patch: _Patch, grounds: np.ndarray, judges: Sequence[Judge], pad_pitch: float, into: tuple[slice, Drawn]
) -> None:
    """Lay all drawn patches under one another as one ground and let the criteria measure the middle of each."""
    draws, count, down, right = grounds.shape
    where, found = into
    layer = np.ascontiguousarray(grounds.reshape(-1, right), dtype=np.float32)
    grid = replace(patch.scan.frame.grid, rows=layer.shape[0], cols=right)
    frame: Frame = replace(patch.scan.frame, grid=grid, layers={"ground": layer})
    rows = np.arange(draws * count) * down + down // 2

    def middles(values: np.ndarray) -> np.ndarray:
        found: np.ndarray = np.asarray(values, np.float64)[rows, right // 2].reshape(draws, count)
        return found

    mask = np.zeros(layer.shape, bool)
    mask[rows, right // 2] = True
    errors = np.full((3, *layer.shape), np.nan, np.float32)
    errors[0, rows, right // 2] = np.tile(patch.counted_m, draws)
    strip = Strip(frame, patch.scan.house, patch.scan.pad, (0, layer.shape[0]), mask, pad_pitch)
    strip.take_errors(errors)  # patches that lie under one another say nothing of how rough the ground is
    plane = strip.plane()
    found.slope_along[where, patch.at] = middles(plane.slope_along)
    found.slope_across[where, patch.at] = middles(plane.slope_across)
    for judge in judges:
        found.measures[judge.id][where, patch.at] = middles(judge.measure(strip))


def reading_only(judges: Sequence[Judge], criteria: Iterable[Criterion], layers: Collection[str]) -> list[Judge]:
    """The judges whose criteria read some layers and nothing else, with the measure of the catalogue (a kept run has none).

    Arguments: judges of a run; criteria, of the catalogue; layers, ids.
    """
    known = {criterion.id: criterion for criterion in criteria}
    found = []
    for judge in judges:
        criterion = known.get(judge.id)
        if criterion is None:
            continue
        reads = {spec.id for spec in criterion.description.reads}
        if reads and reads <= set(layers):
            found.append(replace(judge, criterion=criterion))
    return found
