"""Print how the footprint kernels compare with scipy.ndimage doing the same job, and with themselves, in one
run.

Run as `python -m tests.benchmarks.bench_scan [cells a side]`. Rounds are interleaved and medians taken;
every round also
checks that both answers agree. Wall time uses all threads (scipy's filters one). On a busy machine trust the
ratio of
processor time instead: it counts both threads of ours against one of scipy's, so an idle machine gives about
twice it.
"""

import sys
import time

import numpy as np
from scipy import ndimage

from tunnelsite.kernels.coverage import axis_weights, rectangle_moments
from tunnelsite.kernels.grading import graded_pads
from tunnelsite.kernels.planes import rectangle_planes
from tunnelsite.kernels.windows import rectangle_max, rectangle_mean

ROUNDS = 5


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


def main(side=2000):
    rng = np.random.default_rng(1)
    hills = ndimage.gaussian_filter(rng.normal(0.0, 30.0, (side, side)), 15)
    ground = (500.0 + hills + rng.normal(0.0, 0.05, (side, side))).astype(np.float32)
    sizes = [(29, 9), (29.26, 9.144), (95, 29), (96, 30)]
    outs = {size: rectangle_planes(ground, *size, 1.0) for size in sizes}
    spent = {size: ([], []) for size in sizes}
    for _ in range(ROUNDS):
        for size in sizes:
            ours, got = timed(lambda s=size: rectangle_planes(ground, *s, 1.0, None, outs[s]))
            peers, want = timed(lambda s=size: scipy_planes(ground, *s))
            inside = ~np.isnan(got.mean_m)
            for a, b, most in zip(got, want, (4e-5, 1e-6, 1e-6, 1e-5), strict=False):
                assert np.abs(a[inside] - b[inside]).max() < most
            spent[size][0].append(ours)
            spent[size][1].append(peers)
    print(f"planes, {side} x {side} cells, every placement (ours also gives the crown)")
    for size in sizes:
        (ours, cpu), (peers, peers_cpu) = (np.median(times, axis=0) for times in spent[size])
        print(
            f"  {size[0]:>6} x {size[1]:<6} ours {ours * 1e3:6.1f} ms {side**2 / ours / 1e6:6.1f} M/s, "
            f"scipy {peers * 1e3:7.1f} ms {side**2 / peers / 1e6:5.1f} M/s, ratio {peers / ours:5.1f}, "
            f"processor {cpu / side**2 * 1e9:.1f} against {peers_cpu / side**2 * 1e9:.0f} ns, "
            f"ratio {peers_cpu / cpu:.1f}"
        )
    big, small = (np.median(spent[size][0], axis=0)[1] for size in ((96, 30), (29.26, 9.144)))
    print(f"  30 x 96 takes {big / small:.2f} of the processor time of 9.144 x 29.26")

    for name, ours, peer in (
        ("mean", rectangle_mean, lambda z, s: ndimage.uniform_filter(z, (s[1], s[0]))),
        ("max", rectangle_max, lambda z, s: ndimage.maximum_filter(z, (s[1], s[0]))),
    ):
        for size in ((29, 9), (95, 29)):
            ours(ground, *size)
            pairs = [
                (
                    timed(lambda s=size, f=ours: f(ground, *s))[0],
                    timed(lambda s=size, f=peer: f(ground, s))[0],
                )
                for _ in range(ROUNDS)
            ]
            a, b = np.median(pairs, axis=0)[:, 1]
            print(f"{name} {size}: ours {a * 1e3:.1f} ms, scipy {b * 1e3:.1f} ms of processor time, ratio {b / a:.1f}")

    rows, cols = np.divmod(np.arange(side * side), side)
    for size in ((29, 9), (32, 12)):
        for shrink in (1.0, 1.2):
            graded_pads(ground, rows[:9], cols[:9], *size, 1.0, 1 / 192, shrink)
            times = [
                timed(lambda s=size, k=shrink: graded_pads(ground, rows, cols, *s, 1.0, 1 / 192, k))[0]
                for _ in range(2)
            ]
            wall, cpu = np.min(times, axis=0)
            print(
                f"grading {size}, shrink {shrink}: {wall:.2f} s wall, {cpu:.2f} s processor, "
                f"{rows.size / cpu / 1e6:.1f} M placements a second and thread"
            )


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:]))
