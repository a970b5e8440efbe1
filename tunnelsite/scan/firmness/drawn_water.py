"""Where water runs and stands on drawn grounds: flow is routed again in a window round each placement."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import uniform_filter

from tunnelsite.core.elevation_error import drawn_waves, field_on
from tunnelsite.core.site import Frame
from tunnelsite.kernels.coverage import axis_coverage
from tunnelsite.kernels.water.fill import filled
from tunnelsite.kernels.water.flow import CODE, COL_STEP, OUTLET, ROW_STEP, flow_direction
from tunnelsite.kernels.water.upslope import upslope_sum
from tunnelsite.scan.combine import filled_marks
from tunnelsite.scan.engine import Judge, Scan
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.pitch_error import PitchError
from tunnelsite.scan.ranked_run import RankSettings
from tunnelsite.scan.steady import Nearby, nearby
from tunnelsite.scan.strip import Strip

MARGIN_M = (
    20.0  # of ground round the pad and its shifts; errors correlated over a few metres turn no water from farther off
)
MOST_CELLS = 16_000  # of a window; on finer grids the margin gives way
FLOW = ("ground", "ponding_m", "upslope_m2", "flow_direction")  # layers from which the run's water is taken up
WALL_M = 1e4  # above the ground: nothing flows over it
LEAST_GROUND = 0.5  # share of the unevenness shown that is taken for ground: an error that is not known well may make all of it (ours)
FLAT_RANGES = 4  # unevenness over less than this many ranges of the error is what the error may have made


CELLS_AT_ONCE = 500_000  # of drawn windows: some 50 MB, however many draws are asked for


@dataclass(frozen=True)
class Wet:
    """What one criterion on water finds on drawn grounds, float64 [draws, n], NaN = not assessed: `measure` at the exact place,
    `mark` over the shifts of the house, `unknown`, share of the shifts where the run or the drawn ground does not tell it."""

    measure: np.ndarray
    mark: np.ndarray
    unknown: np.ndarray


def drawn_water(
    chosen: Sequence[tuple[Scan, int]],
    errors: Sequence[PitchError],
    judges: Sequence[Judge],
    draws: tuple[int, int],
    settings: RankSettings,
) -> dict[str, Wet]:
    """Route the flow again on drawn grounds, and let criteria on water measure it.

    Arguments: chosen, (scan, packed placement) of each of n; errors, of each, their elevations' errors of one range; judges,
    whose criteria read nothing but the ground and where water runs and stands; draws, (how many, seed); settings of the run.
    Return: Wet by criterion id. A draw's field is that of `drawn_ground`, so pads and water err together (not so where every
    cell errs for itself).
    What runs in over a window's edge is taken from the run: it comes in where it came in there. Departure: water that leaves a
    window does not come back.
    """
    count, seed = draws
    range_m = errors[0].counted.seen[1]
    found = {judge.id: Wet(*(np.full((count, len(chosen)), np.nan) for _ in range(3))) for judge in judges}
    for basin, at in _basins(chosen, settings.shift_m):
        sd = np.array([errors[k].counted.seen[0] for k in at])
        step = max(1, CELLS_AT_ONCE // basin.ground.size)
        for start in range(0, count, step):
            which = slice(start, min(start + step, count))
            fields = np.stack([_errors(basin, range_m, (seed, draw)) for draw in range(which.start, which.stop)])
            grounds = drawn_windows(basin, fields * sd[:, None, None], sd, range_m)
            for name, wet in wet_measures(basin, grounds, judges, settings).items():
                for whole, part in zip(vars(found[name]).values(), vars(wet).values(), strict=True):
                    whole[which, at] = part
    return found


def _basins(chosen: Sequence[tuple[Scan, int]], shift_m: float) -> Iterator[tuple[Basin, np.ndarray]]:
    """Windows by scan, with their numbers in the list."""
    scans = {id(scan): scan for scan, _ in chosen}
    for key, scan in scans.items():
        at = np.array([k for k, (one, _) in enumerate(chosen) if id(one) == key])
        cell = scan.frame.grid.cell_m
        down, right = (2 * axis_coverage(size / cell).reach + 1 for size in (scan.pad.width_m, scan.pad.length_m))
        spare = spare_cells((down, right), cell, shift_m)
        items = np.array([chosen[k][1] for k in at])
        yield basin(scan, items, (down + 2 * spare, right + 2 * spare), shift_m), at


def _errors(basin: Basin, range_m: float, seed: tuple[int, int]) -> np.ndarray:
    """One drawn field of variance 1 over every window."""
    numbers = np.random.default_rng(seed)
    if range_m > 0:
        return field_on(drawn_waves(numbers, range_m), basin.scan.frame.grid, basin.row, basin.col, basin.ring.shape)
    return numbers.standard_normal(basin.ground.shape)


@dataclass(frozen=True)
class Basin:
    """Windows [n, h, w] round placements of one scan, as the run drains them. The outermost cells are the ring.

    Attributes: row, col, int64 [n], upper left cell in the frame. ground, float32 [m], NaN = no data. rim, float32 [m], how high
    water stands on the ring at least, NaN inside: hollows that go on beyond the window are full there, and where water runs in none
    runs out. near, what lies within the shift of each placement. shed, float64 [cells], what each cell adds: itself, and inside the
    ring what runs in there. ring, bool [h, w].
    """

    scan: Scan
    items: np.ndarray
    row: np.ndarray
    col: np.ndarray
    ground: np.ndarray
    rim: np.ndarray
    near: Nearby
    shed: np.ndarray
    ring: np.ndarray


def spare_cells(pad_cells: tuple[int, int], cell_m: float, shift_m: float) -> int:
    """Margin of a window round a pad of so many cells."""
    down, right = pad_cells
    wanted = int(np.ceil((MARGIN_M + shift_m) / cell_m))
    most = int((-(down + right) + np.sqrt((down - right) ** 2 + 4 * MOST_CELLS)) / 4)
    return max(min(wanted, most), int(np.ceil(shift_m / cell_m)) + 4)


def basin(scan: Scan, items: np.ndarray, size: tuple[int, int], shift_m: float) -> Basin:
    """Windows of `size` cells (odd) round stored placements, drained as in the run. Arguments: scan; items [n]; size; shift_m [m]."""
    grid, layers = scan.frame.grid, scan.frame.layers
    row, col = np.divmod(scan.index[items], grid.cols)
    row, col = row - size[0] // 2, col - size[1] // 2
    ground, hollow, area, direction = (_cut(layers[name], row, col, size) for name in FLOW)
    land = np.isfinite(ground)
    area = np.nan_to_num(area) / grid.cell_m**2
    ring = np.zeros(size, bool)
    ring[[0, -1]] = ring[:, [0, -1]] = True
    enters = ring & _into(direction, ~ring & land)
    entering = _given(direction, np.where(enters, area, 0.0))
    given = _given(direction, np.where(ring, 0.0, area)) + entering
    shore = ~ring & land & _beside(~land)  # there more may run in than comes over the ring
    shed = np.where(ring, 0.0, np.where(shore, np.maximum(area - given, 1.0), 1.0) + entering)
    rim = np.where(ring & (hollow > 0), ground + hollow, np.float32(np.nan))
    rim = np.where(enters, np.float32(WALL_M), rim)
    return Basin(scan, items, row, col, ground, rim, nearby(scan, items, shift_m), shed, ring)


def water_layers(basin: Basin, grounds: np.ndarray) -> dict[str, np.ndarray]:
    """`ground`, `upslope_m2` and `ponding_m` of drawn grounds, float32 [draws * n * (h + 1), w]: windows under one another, a row
    without data after each.

    Arguments: basin; grounds, float [draws, n, h, w]. Where nothing is changed they are the run's own, but for level ground that
    drains over the window's edge.
    """
    grid = basin.scan.frame.grid
    ground = _stacked(grounds.astype(np.float32))
    spilling = np.fmax(ground, _stacked(np.broadcast_to(basin.rim, grounds.shape)))
    full = filled(spilling)
    direction = flow_direction(full, grid.cell_m)
    direction[_stacked(np.broadcast_to(basin.ring, grounds.shape), fill=False) & np.isfinite(ground)] = OUTLET
    area = upslope_sum(direction, _stacked(np.broadcast_to(basin.shed, grounds.shape))) * grid.cell_m**2
    return {"ground": ground, "upslope_m2": area.astype(np.float32), "ponding_m": full - ground}


def drawn_windows(basin: Basin, errors: np.ndarray, sd_m: np.ndarray, range_m: float) -> np.ndarray:
    """Grounds of the windows less drawn errors, float64 [draws, n, h, w].

    Arguments: basin; errors [m], like the result; their standard deviation sd_m [n] [m] and range_m, over which they are alike [m].
    The unevenness that a model shows over short ways holds one helping of error already. The share of it that is ground is what is
    left of its variance, no less than half; of what is shown that share stays, and of the drawn error its root, so that the ground
    is as rough as it is without the model's own error (derived: ground and error spread over the same lengths).
    """
    side = max(3, int(np.ceil(FLAT_RANGES * range_m / basin.scan.frame.grid.cell_m)) | 1)
    land = np.isfinite(basin.ground)
    ground = np.where(land, basin.ground, np.nanmean(basin.ground, axis=(1, 2), keepdims=True)).astype(np.float64)
    coarse, smooth = uniform_filter(ground, (1, side, side)), uniform_filter(errors, (1, 1, side, side))
    rough, noise = ground - coarse, errors - smooth
    shown, error = (rough**2).mean(axis=(1, 2)), sd_m**2 * _short_share(side, basin.scan.frame.grid.cell_m, range_m)
    left = 1.0 - np.divide(error, shown, out=np.zeros_like(shown), where=shown > 0)
    share = np.maximum(left, LEAST_GROUND)[:, None, None]
    return np.where(land, coarse - smooth + share * rough - np.sqrt(share) * noise, np.nan)


def _short_share(side: int, cell_m: float, range_m: float) -> float:
    """Share of the variance of errors that is left off their means over squares of `side` cells (derived)."""
    at = np.arange(side) * cell_m
    alike = np.exp(-(((at[:, None] - at) / range_m) ** 2)) if range_m > 0 else np.eye(side)
    return float(1.0 - 2.0 * alike[side // 2].mean() ** 2 + alike.mean() ** 2)


def wet_measures(basin: Basin, grounds: np.ndarray, judges: Sequence[Judge], settings: RankSettings) -> dict[str, Wet]:
    """Let criteria on water measure drawn grounds.

    Arguments: basin; grounds [draws, n, h, w]; judges; settings of the run (slope of the pad, shift).
    Marks are means over the shifts of the house as in the steady score; what the run rejected there counts 0.
    """
    draws, count = grounds.shape[:2]
    scan = basin.scan
    inner = _looked_at(basin, judges, settings.shift_m)
    layers = {name: _unstacked(rows, grounds.shape)[..., *inner] for name, rows in water_layers(basin, grounds).items()}
    down, right = layers["ground"].shape[2:]
    grid = replace(scan.frame.grid, rows=draws * count * (down + 1), cols=right)
    frame: Frame = replace(scan.frame, grid=grid, layers={name: _stacked(values) for name, values in layers.items()})
    near = basin.near
    each = [slice(*np.searchsorted(near.of, [k, k + 1])) for k in range(count)]
    places = [np.divmod(scan.index[near.items[part]], scan.frame.grid.cols) for part in each]
    corner = basin.row + inner[0].start, basin.col + inner[1].start
    places = [(row - corner[0][k], col - corner[1][k]) for k, (row, col) in enumerate(places)]
    mask = np.zeros((draws, count, down + 1, right), bool)
    for k, (row, col) in enumerate(places):
        mask[:, k, row, col] = True
    strip = Strip(frame, scan.house, scan.pad, (0, grid.rows), mask.reshape(grid.shape), settings.pad_pitch)
    found = {}
    for judge in judges:
        whole = judge.measure(strip).astype(np.float64).reshape(mask.shape)
        mark, unknown = np.full((2, draws, count), np.nan)
        shown = np.isfinite(marks_of(scan, judge, near.items))
        for k, (part, (row, col)) in enumerate(zip(each, places, strict=True)):
            marks = np.where(shown[part], judge.rubric.marks(whole[:, k, row, col]), np.nan)
            share = near.weights[part] / (near.weights[part].sum() + near.rejected[k])
            mark[:, k] = np.where(np.isfinite(marks).any(axis=1), filled_marks(marks) @ share, np.nan)
            unknown[:, k] = np.isnan(marks) @ share
        found[judge.id] = Wet(whole[:, :, down // 2, right // 2], mark, unknown)
    return found


def _looked_at(basin: Basin, judges: Sequence[Judge], shift_m: float) -> tuple[slice, slice]:
    """The rows and columns of a window that criteria look at: pad, shifts, and as far beside the pad as one of them asks."""
    cell, pad = basin.scan.frame.grid.cell_m, basin.scan.pad
    reach = max((float(judge.parameters.get("reach_m", 0.0)) for judge in judges), default=0.0)
    spare = int(np.ceil((shift_m + reach) / cell)) + 1
    found = []
    for size, wanted in zip(basin.ring.shape, (pad.width_m, pad.length_m), strict=True):
        half = min(axis_coverage(wanted / cell).reach + spare, size // 2)
        found.append(slice(size // 2 - half, size // 2 + half + 1))
    return found[0], found[1]


def _cut(layer: np.ndarray, row: np.ndarray, col: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Windows of a raster, [n, *size]; NaN beyond it."""
    rows, cols = row[:, None, None] + np.arange(size[0])[:, None], col[:, None, None] + np.arange(size[1])
    there = (rows >= 0) & (rows < layer.shape[0]) & (cols >= 0) & (cols < layer.shape[1])
    values = layer[np.clip(rows, 0, layer.shape[0] - 1), np.clip(cols, 0, layer.shape[1] - 1)]
    return np.where(there, values, np.nan).astype(np.float32)


def _stacked(windows: np.ndarray, fill: float = np.nan) -> np.ndarray:
    """Windows [..., h, w] under one another with a row of `fill` after each."""
    spaced = np.full((*windows.shape[:-2], windows.shape[-2] + 1, windows.shape[-1]), fill, windows.dtype)
    spaced[..., :-1, :] = windows
    return spaced.reshape(-1, windows.shape[-1])


def _unstacked(rows: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    return rows.reshape(*shape[:-2], shape[-2] + 1, shape[-1])[..., :-1, :]


def _moved(cells: np.ndarray, row: int, col: int) -> np.ndarray:
    """At each cell the value of its neighbour so many rows and columns on; 0 beyond the window."""
    height, width = cells.shape[-2:]
    padded = np.pad(cells, [(0, 0)] * (cells.ndim - 2) + [(1, 1), (1, 1)])
    return padded[..., 1 + row : 1 + row + height, 1 + col : 1 + col + width]


def _into(direction: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Cells that drain to a wanted cell."""
    steps = zip(CODE, ROW_STEP, COL_STEP, strict=True)
    found: np.ndarray = np.any([(direction == code) & _moved(wanted, row, col) for code, row, col in steps], axis=0)
    return found


def _given(direction: np.ndarray, amount: np.ndarray) -> np.ndarray:
    """What each cell is given by those that drain to it."""
    steps = zip(CODE, ROW_STEP, COL_STEP, strict=True)
    found: np.ndarray = np.sum(
        [_moved(np.where(direction == code, amount, 0.0), -row, -col) for code, row, col in steps], axis=0
    )
    return found


def _beside(cells: np.ndarray) -> np.ndarray:
    """Cells beside one of the cells given."""
    steps = zip(ROW_STEP, COL_STEP, strict=True)
    found: np.ndarray = np.any([_moved(cells, row, col) for row, col in steps], axis=0)
    return found
