"""Print how the footprint kernels compare with scipy.ndimage doing the same job, and with themselves, in one
run.

Run as `python -m tests.benchmarks.bench_scan [cells a side]`. Rounds are interleaved and medians taken, of planes the least;
every round also checks that both answers agree. Wall time uses all threads (scipy's filters one). On a busy machine trust the ratio
on one thread instead.
"""

import sys
import time
from functools import partial

import numba
import numpy as np
from scipy import ndimage

from tests.benchmarks.table import Figure, show
from tunnelsite.kernels.coverage import axis_weights, rectangle_moments
from tunnelsite.kernels.terrain.grading import graded_pads
from tunnelsite.kernels.terrain.planes import rectangle_planes
from tunnelsite.kernels.windows import rectangle_max, rectangle_mean

ROUNDS = 5
CALLS = 25


def scipy_planes(ground, length, width):
    """Mean, two slopes and rms from scipy's one-dimensional filters, float64, running-mean filters where
    sizes allow."""
    along, across = axis_weights(length), axis_weights(width)
    u, v = np.arange(along.size) - along.size // 2, np.arange(across.size) - across.size // 2
    moments = rectangle_moments(length, width)
    z = ground - np.float64(500.0)

    def plain(layer, weights, axis):
        if weights[0] == 1.0:
            return ndimage.uniform_filter1d(layer, weights.size, axis, mode="constant") * weights.size
        return ndimage.correlate1d(layer, weights, axis, mode="constant")

    columns = plain(z, across, 0)
    mean = plain(columns, along, 1) / moments.area
    slope_u = ndimage.correlate1d(columns, along * u, 1, mode="constant") / moments.along
    slope_v = plain(ndimage.correlate1d(z, across * v, 0, mode="constant"), along, 1) / moments.across
    square = plain(plain(z * z, across, 0), along, 1) / moments.area
    square -= mean**2 + (slope_u**2 * moments.along + slope_v**2 * moments.across) / moments.area
    return mean + 500.0, slope_u, -slope_v, np.sqrt(np.maximum(square, 0.0))


def timed(call):
    start, busy = time.perf_counter(), time.process_time()
    result = call()
    return np.array([time.perf_counter() - start, time.process_time() - busy]), result


def least(call, calls=1):
    """Least seconds of some calls, and the last result."""
    times, result = [], None
    for _ in range(calls):
        spent, result = timed(call)
        times.append(spent[0])
    return min(times), result


def on_one_thread(call, calls):
    """Least seconds with one thread."""
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        return least(call, calls)[0]
    finally:
        numba.set_num_threads(threads)


def plane_figures(ground, rounds):
    """Planes at every placement; ours also give the crown.

    Least times, as calls of ours are so short that another program on a core falls into some of them and not into others. The
    peer has one thread, so the like-for-like ratio, on one thread, stands beside the one with all.
    """
    side, sizes = len(ground), [(29, 9), (29.26, 9.144), (95, 29), (96, 30)]
    outs = {size: rectangle_planes(ground, *size, 1.0) for size in sizes}
    spent = {size: [] for size in sizes}
    for _ in range(rounds):
        for size in sizes:
            call = partial(rectangle_planes, ground, *size, 1.0, None, outs[size])
            ours, got = least(call, CALLS)
            alone = on_one_thread(call, CALLS)
            peers, want = least(partial(scipy_planes, ground, *size))
            inside = ~np.isnan(got.mean_m)
            for a, b, most in zip(got, want, (4e-5, 1e-6, 1e-6, 1e-5), strict=False):
                assert np.abs(a[inside] - b[inside]).max() < most
            spent[size].append((ours, alone, peers))
    found, best = [], {size: np.min(times, axis=0) for size, times in spent.items()}
    for size, goal in zip(sizes, (15, 15, 30, 30), strict=True):
        ours, alone, peers = best[size]
        speeds = [side**2 / seconds / 1e6 for seconds in (ours, alone, peers)]
        detail = (
            f"{speeds[0]:.0f} against {speeds[2]:.1f} M/s; on one thread {speeds[1]:.0f} M/s, ratio {peers / alone:.1f}"
        )
        found.append(Figure(f"planes {size[0]} x {size[1]}: scipy / ours", peers / ours, goal, detail=detail))
    for big, small in (((95, 29), (29, 9)), ((96, 30), (29.26, 9.144))):
        step = f"planes: time on one thread at {big[0]} x {big[1]} over {small[0]} x {small[1]}"
        found.append(Figure(step, best[big][1] / best[small][1], 1.15, False))
    return found


def window_figures(ground, rounds):
    """Mean and maximum under a rectangle."""
    found = []
    for name, ours, peer in (
        ("mean", rectangle_mean, lambda z, s: ndimage.uniform_filter(z, (s[1], s[0]))),
        ("max", rectangle_max, lambda z, s: ndimage.maximum_filter(z, (s[1], s[0]))),
    ):
        for size in ((29, 9), (95, 29)):
            ours(ground, *size)
            pairs = [
                (timed(lambda s=size, f=ours: f(ground, *s))[0], timed(lambda s=size, f=peer: f(ground, s))[0])
                for _ in range(rounds)
            ]
            a, b = np.median(pairs, axis=0)[:, 0]
            found.append(Figure(f"{name} {size[0]} x {size[1]}: scipy / ours", b / a, detail=f"{a * 1e3:.1f} ms"))
    return found


def grading_figures(ground):
    """Earthwork of every placement."""
    side, found = len(ground), []
    rows, cols = np.divmod(np.arange(side * side), side)
    for size in ((29, 9), (32, 12)):
        graded_pads(ground, rows[:9], cols[:9], *size, 1.0, 1 / 192, 1.0)
        wall, cpu = timed(lambda s=size: graded_pads(ground, rows, cols, *s, 1.0, 1 / 192, 1.0))[0]
        detail = f"{rows.size / cpu / 1e6:.1f} M placements a second and thread"
        found.append(
            Figure(f"grading every placement, pad {size[0]} x {size[1]} [M/s]", rows.size / wall / 1e6, detail=detail)
        )
    return found


def figures(side=2000, rounds=ROUNDS):
    """Footprint kernels at side x side cells."""
    rng = np.random.default_rng(1)
    hills = ndimage.gaussian_filter(rng.normal(0.0, 30.0, (side, side)), 15)
    ground = (500.0 + hills + rng.normal(0.0, 0.05, (side, side))).astype(np.float32)
    return (
        plane_figures(ground, rounds)
        + window_figures(ground, rounds)
        + grading_figures(ground[: side // 2, : side // 2].copy())
    )


if __name__ == "__main__":
    show(figures(*(int(word) for word in sys.argv[1:])))
