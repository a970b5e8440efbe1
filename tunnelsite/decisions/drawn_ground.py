"""The ground as it might really be: correlated errors of the elevation model drawn over all candidates at once, and what the
criteria that read nothing but the ground measure there."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tunnelsite.core.site import Frame
from tunnelsite.kernels.coverage import axis_coverage, axis_weights
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.strip import Strip

HARMONICS = (
    128  # waves a field is made of; its variance is exact with any number, more make every single field more Gaussian
)
CELLS_AT_ONCE = 2_000_000  # of drawn ground: 16 MB, however many draws are asked for
Measure = Callable[..., np.ndarray]


@dataclass(frozen=True)
class ErrorModel:
    """Errors of the elevations: Gaussian, stationary, of standard deviation `sd_m` [m] and correlation exp(-(d / range_m)^2);
    `range_m` 0 = every cell for itself."""

    sd_m: float
    range_m: float


@dataclass(frozen=True)
class Drawn:
    """What was measured on drawn grounds, float64 [draws, placements]: `slope_along`, `slope_across` [fraction] of the
    footprint's plane; `measures` by criterion id, in the unit of each."""

    slope_along: np.ndarray
    slope_across: np.ndarray
    measures: dict[str, np.ndarray]


@dataclass(frozen=True)
class _Patch:
    """Placements of one scan. `cells`, int64 [n, h, w], number of each cell in the frame. `ground`, float64 [n, h, w] [m].
    `basis`, float64 [4, h, w]: level, along, across and crown, orthogonal under `share` [h, w], the footprint's weights."""

    scan: Scan
    at: np.ndarray
    cells: np.ndarray
    ground: np.ndarray
    basis: np.ndarray
    share: np.ndarray


def drawn_measures(
    chosen: Sequence[tuple[Scan, int]],
    judges: Sequence[Judge],
    model: ErrorModel,
    draws: int,
    seed: int,
    pad_pitch: float,
) -> Drawn:
    """Measure placements again on drawn grounds.

    Arguments: chosen, (scan, packed placement) of each; judges, whose criteria read the ground only; model; draws; seed;
    pad_pitch, slope a finished pad may keep [fraction].
    Return: Drawn; the same seed gives the same numbers, and draw k is the same however many are asked for.
    Source: fields by the spectral method, a sum of waves whose wave vectors are drawn from the spectrum of the correlation
    (Shinozuka & Deodatis 1991, Applied Mechanics Reviews 44(4):191, from memory). One field serves all placements of a draw, so
    neighbours err together. Departure: what the model shows beyond the footprint's plane and crown holds one error already,
    so there the drawn error is added and both are shrunk until the ground is, on average, as rough as the model shows it.
    Plane and crown take the whole error.
    """
    if not (0 <= model.sd_m < 100 and 0 <= model.range_m < 1e6 and draws >= 1):
        raise ValueError("an error of 0 up to 100 m, a range of 0 up to 1000 km and 1 draw or more are expected")
    patches = list(_patches(chosen))
    found = Drawn(*(np.full((draws, len(chosen)), np.nan) for _ in range(2)), {})
    found.measures.update({judge.id: np.full((draws, len(chosen)), np.nan) for judge in judges})
    cells = max(sum(patch.cells.size for patch in patches), 1)
    step = max(1, CELLS_AT_ONCE // cells)
    for start in range(0, draws, step):
        which = range(start, min(start + step, draws))
        errors = [_errors(patches, model, (seed, draw)) for draw in which]
        for k, patch in enumerate(patches):
            grounds = _grounds(patch, np.stack([error[k] for error in errors]))
            _measured(patch, grounds, judges, pad_pitch, (slice(which.start, which.stop), found))
    return found


def _patches(chosen: Sequence[tuple[Scan, int]]) -> Iterator[_Patch]:
    scans: list[Scan] = []
    for scan, _ in chosen:
        if not any(scan is known for known in scans):
            scans.append(scan)
    for scan in scans:
        at = np.array([k for k, (one, _) in enumerate(chosen) if one is scan])
        yield _patch(scan, at, np.array([chosen[k][1] for k in at]))


def _patch(scan: Scan, at: np.ndarray, items: np.ndarray) -> _Patch:
    grid = scan.frame.grid
    down, right = (axis_coverage(size / grid.cell_m).reach for size in (scan.pad.width_m, scan.pad.length_m))
    v, u = np.arange(-down, down + 1), np.arange(-right, right + 1)
    row, col = np.divmod(scan.index[items], grid.cols)
    cells = (row[:, None, None] + v[:, None]) * np.int64(grid.cols) + col[:, None, None] + u
    across = _padded(axis_weights(scan.house.width_m / grid.cell_m), v.size)
    along = _padded(axis_weights(scan.house.length_m / grid.cell_m), u.size)
    across, along = across / across.sum(), along / along.sum()
    crown = v**2 - across @ v**2
    ones = np.ones((v.size, u.size))
    basis = np.stack([ones, ones * u, ones * v[:, None], ones * crown[:, None]])
    ground = scan.frame.ground.ravel()[cells].astype(np.float64)
    return _Patch(scan, at, cells, ground, basis, np.outer(across, along))


def _padded(weights: np.ndarray, size: int) -> np.ndarray:
    """Weights of the footprint in the middle of the pad's cells."""
    spare = (size - weights.size) // 2
    return np.pad(weights, spare)


def _errors(patches: list[_Patch], model: ErrorModel, seed: tuple[int, int]) -> list[np.ndarray]:
    """One drawn field over every patch [m]."""
    numbers = np.random.default_rng(seed)
    if model.range_m > 0:
        waves = numbers.normal(0.0, np.sqrt(2.0) / model.range_m, (2, HARMONICS))  # spectrum of exp(-(d / range)^2)
        swing = numbers.normal(0.0, model.sd_m / np.sqrt(HARMONICS), (2, HARMONICS))
        return [_waves(patch, waves, swing[0] - 1j * swing[1]) for patch in patches]
    found: dict[int, np.ndarray] = {}
    frames = {id(patch.scan.frame): patch.scan.frame for patch in patches}
    for key in frames:  # cells that two pads share err alike
        mine = [k for k, patch in enumerate(patches) if id(patch.scan.frame) == key]
        known, where = np.unique(np.concatenate([patches[k].cells.ravel() for k in mine]), return_inverse=True)
        error = numbers.normal(0.0, model.sd_m, known.size)[where.ravel()]
        ends = np.cumsum([patches[k].cells.size for k in mine])[:-1]
        found |= {k: part.reshape(patches[k].cells.shape) for k, part in zip(mine, np.split(error, ends), strict=True)}
    return [found[k] for k in range(len(patches))]


def _waves(patch: _Patch, waves: np.ndarray, swing: np.ndarray) -> np.ndarray:
    """The sum of waves at the cells of a patch; along and across part, so two small products serve each placement."""
    grid = patch.scan.frame.grid
    along, across = grid.from_map(
        *waves
    )  # a wave vector turns with the grid, so placements of all bearings share the field
    _, down, right = patch.cells.shape
    row, col = np.divmod(patch.cells[:, 0, 0], grid.cols)
    start = grid.centre(row, col)
    phase = np.exp(1j * (np.outer(start[0], along) + np.outer(start[1], across))) * swing
    rows = np.exp(-1j * np.outer(np.arange(down) * grid.cell_m, across))  # rows run south
    cols = np.exp(1j * np.outer(along, np.arange(right) * grid.cell_m))
    left = phase[:, None, :] * rows
    # one small product a placement: one large one would start the threads of the library for a millisecond's work
    return left.real @ cols.real - left.imag @ cols.imag


def _grounds(patch: _Patch, errors: np.ndarray) -> np.ndarray:
    """Ground less error, float64 [draws, n, h, w], as rough on average as the model; see `drawn_measures`."""
    ground_fit, error_fit = _fitted(patch, patch.ground), _fitted(patch, errors)
    rough, noise = patch.ground - ground_fit, errors - error_fit
    shown, added = (np.einsum("...hw,hw->...", part**2, patch.share) for part in (rough, noise))
    both = shown + added
    shrunk = np.sqrt(np.divide(shown, both, out=np.ones_like(both), where=both > 0))
    return ground_fit - error_fit + shrunk[..., None, None] * (rough - noise)


def _fitted(patch: _Patch, values: np.ndarray) -> np.ndarray:
    size = np.einsum("khw,hw->k", patch.basis**2, patch.share)
    part = np.einsum("...hw,khw->...k", values, patch.basis * patch.share)
    part = np.divide(part, size, out=np.zeros_like(part), where=size > 1e-12)
    return np.einsum("...k,khw->...hw", part, patch.basis)


def _measured(patch: _Patch, grounds: np.ndarray, judges: Sequence[Judge], pad_pitch: float, into) -> None:
    """Lay all drawn patches under one another as one ground and let the criteria measure the middle of each."""
    draws, count, down, right = grounds.shape
    where, found = into
    layer = np.ascontiguousarray(grounds.reshape(-1, right), dtype=np.float32)
    grid = replace(patch.scan.frame.grid, rows=layer.shape[0], cols=right)
    frame: Frame = replace(patch.scan.frame, grid=grid, layers={"ground": layer})
    rows = np.arange(draws * count) * down + down // 2

    def middles(values: np.ndarray) -> np.ndarray:
        return np.asarray(values, np.float64)[rows, right // 2].reshape(draws, count)

    mask = np.zeros(layer.shape, bool)
    mask[rows, right // 2] = True
    strip = Strip(frame, patch.scan.house, patch.scan.pad, (0, layer.shape[0]), mask, pad_pitch)
    plane = strip.plane()
    found.slope_along[where, patch.at] = middles(plane.slope_along)
    found.slope_across[where, patch.at] = middles(plane.slope_across)
    for judge in judges:
        found.measures[judge.id][where, patch.at] = middles(judge.criterion.measure(strip, **judge.parameters))


def ground_only(judges: Sequence[Judge], criteria) -> list[Judge]:
    """The judges whose criteria read the ground and nothing else, with the measure of the catalogue (a kept run has none).

    Arguments: judges of a run; criteria, of the catalogue.
    """
    known = {criterion.id: criterion for criterion in criteria}
    found = []
    for judge in judges:
        criterion = known.get(judge.id)
        if criterion is not None and [spec.id for spec in criterion.description.reads] == ["ground"]:
            found.append(replace(judge, criterion=criterion))
    return found
