"""Terrain and flow against their peers, as ratios within one run: python -m tests.benchmarks.bench_terrain
[cells a side].

Peers are taken where they are installed (richdem always, xarray-spatial if present). Runs are interleaved,
medians compared.
"""

import contextlib
import importlib.util
import os
import sys
import time

import numba
import numpy as np
import pyflwdir
import richdem as rd
from numba import njit, prange
from scipy.ndimage import distance_transform_edt, gaussian_filter, zoom

from tests.benchmarks.table import Figure, show
from tunnelsite.kernels.distance import distance_to
from tunnelsite.kernels.terrain import slope as terrain
from tunnelsite.kernels.water import dinfinity, fill, flow, upslope
from tunnelsite.kernels.water.drainage_lines import height_above_drainage

REPEATS = 5
LINE_M2 = 50_000.0
QUICK_S = 0.5


@njit(parallel=True)
def copy_to_two(ground, first, second):
    for row in prange(ground.shape[0]):
        for col in range(ground.shape[1]):
            first[row, col] = ground[row, col]
            second[row, col] = ground[row, col]


def copied(ground):
    first, second = np.empty_like(ground), np.empty_like(ground)
    copy_to_two(ground, first, second)
    return first, second


def farm_country(size):
    """Hills and swales with 5 cm of noise, as a lidar DEM at 1 m."""
    rng = np.random.default_rng(4)
    ground = rng.normal(0, 0.05, (size, size)) + 300
    for wavelength, height in ((400, 20), (100, 4), (25, 0.5)):
        coarse = gaussian_filter(rng.normal(size=(size // wavelength * 5 + 12,) * 2), 1.5)
        ground += height * zoom(coarse / coarse.std(), wavelength / 5, order=1)[:size, :size]
    return ground.astype(np.float32)


@contextlib.contextmanager
def quiet():
    """richdem prints its progress from C++, past sys.stdout."""
    kept, nowhere = (os.dup(1), os.dup(2)), os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1), os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept[0], 1), os.dup2(kept[1], 2)
        for handle in (*kept, nowhere):
            os.close(handle)


def medians(jobs, repeats=REPEATS):
    """Median seconds of each job, run in turn so that they share what else the machine does.

    A quick job runs once untimed before each time: what another one freed a virtual machine may have taken back, and whoever comes next
    would wait for it, ten times as long as the job itself.
    """
    times = {name: [] for name in jobs}
    with quiet():
        quick = {name: seconds(job) < QUICK_S for name, job in jobs.items()}
        for _ in range(repeats):
            for name, job in jobs.items():
                if quick[name]:
                    job()
                times[name].append(seconds(job))
    return {name: float(np.median(t)) for name, t in times.items()}


def seconds(job, *arguments):
    """Time of one call."""
    start = time.perf_counter()
    job(*arguments)
    return time.perf_counter() - start


def wrapped(ground):
    return rd.rdarray(ground, no_data=-9999, geotransform=[0, 1, 0, 0, 0, -1])


def slope_aspect_figures(ground, repeats, words=""):
    inner = wrapped(ground)
    jobs = {
        "ours": lambda: terrain.slope_aspect(ground, 1.0),
        "copy": lambda: copied(ground),
        "richdem": lambda: [rd.TerrainAttribute(inner, name) for name in ("slope_riserun", "aspect")],
    }
    if importlib.util.find_spec("xrspatial"):
        import xarray
        import xrspatial

        rows, cols = ground.shape
        layer = xarray.DataArray(
            ground, dims=("y", "x"), coords={"y": np.arange(rows)[::-1] * 1.0, "x": np.arange(cols) * 1.0}
        )
        jobs["xarray-spatial"] = lambda: [xrspatial.slope(layer).data, xrspatial.aspect(layer).data]
    took = medians(jobs, repeats)
    detail = f"{1000 * took['ours']:.1f} ms at {ground.shape[0]} x {ground.shape[1]}"
    what = f"slope + aspect{words}"
    found = [Figure(f"{what}: richdem / ours", took["richdem"] / took["ours"], 40, detail=detail)]
    if "xarray-spatial" in took:
        found.append(Figure(f"{what}: xarray-spatial / ours", took["xarray-spatial"] / took["ours"], 25))
    copy = f"copy {1000 * took['copy']:.1f} ms"
    return [
        *found,
        Figure(f"{what}: ours / copy of one array to two", took["ours"] / took["copy"], 2.5, False, copy),
    ]


def one_thread(job):
    """What a job takes where it may use one core, as richdem does."""
    threads = numba.get_num_threads()

    def alone():
        numba.set_num_threads(1)
        try:
            job()
        finally:
            numba.set_num_threads(threads)

    return alone


def drainage_jobs(ground):
    """Fill, directions and contributing area, ours and richdem's; the filled ground is checked to be equal."""
    with quiet():
        full = np.asarray(rd.FillDepressions(wrapped(ground), epsilon=False))
    if not np.array_equal(full, fill.filled(ground)):
        raise AssertionError("the filled ground differs from richdem's")
    inner, direction = wrapped(full), flow.flow_direction(full, 1.0)
    ours = {
        "fill": lambda: fill.filled(ground),
        "direction": lambda: flow.flow_direction(full, 1.0),
        "upslope": lambda: upslope.upslope_cells(direction),
    }
    peers = {
        "richdem fill": lambda: rd.FillDepressions(wrapped(ground), epsilon=False),
        "richdem D8": lambda: rd.FlowAccumulation(inner, method="D8"),
    }
    more = {
        "D-infinity": lambda: dinfinity.upslope_area_dinf(dinfinity.flow_angle(full, direction, 1.0), 1.0),
        "richdem D-infinity": lambda: rd.FlowAccumulation(inner, method="Dinf"),
    }
    return ours, peers, more


def drainage_ratios(took, words, alone=""):
    """Fill, and fill + D8, against richdem; alone: what the names of our jobs on one thread begin with."""
    ours = sum(took[alone + name] for name in ("fill", "direction", "upslope"))
    peer = took["richdem fill"] + took["richdem D8"]
    filled = took[alone + "fill"]
    return [
        Figure(f"fill (exact){words}: richdem / ours", took["richdem fill"] / filled, 1.5, detail=f"{filled:.2f} s"),
        Figure(
            f"fill + D8 accumulation{words}: richdem / ours", peer / ours, 3 if alone else 8, detail=f"{ours:.2f} s"
        ),
    ]


def flow_figures(ground, repeats):
    ours, peers, more = drainage_jobs(ground)
    alone = {f"alone {name}": one_thread(job) for name, job in ours.items()}
    took = medians(ours | alone | peers | more, min(repeats, 3))
    return [
        *drainage_ratios(took, ""),
        *drainage_ratios(took, ", one thread", "alone "),
        Figure(
            "D-infinity: richdem / ours",
            took["richdem D-infinity"] / took["D-infinity"],
            3.5,
            detail=f"{took['D-infinity']:.2f} s",
        ),
    ]


def lines_figures(ground, repeats):
    """Height above and distance from drainage against pyflwdir and scipy, whose answers are compared first."""
    full = fill.filled(ground)
    direction = flow.flow_direction(full, 1.0)
    area = upslope.upslope_cells(direction)[0].astype(np.float32)
    level = np.zeros_like(full)
    theirs = pyflwdir.from_array(np.where(direction == flow.NO_DATA, 247, direction), ftype="d8", check_ftype=False)
    line = area >= LINE_M2
    drain, heights = line.astype(np.int8), full.astype(np.float64)
    jobs = {
        "height": lambda: height_above_drainage(full, level, direction, line, np.inf),
        "pyflwdir": lambda: theirs.hand(drain, heights),
        "distance": lambda: distance_to(line, (1.0, 1.0), 200.0),
        "scipy": lambda: distance_transform_edt(~line),
    }
    known = np.isfinite(jobs["height"]())
    if np.abs(jobs["height"]() - jobs["pyflwdir"]())[known].max() > 1e-3:
        raise AssertionError("height above drainage differs from pyflwdir's")
    if np.abs(jobs["distance"]() - np.minimum(jobs["scipy"](), 200.0)).max() > 1e-3:
        raise AssertionError("distance from drainage differs from scipy's")
    took = medians(jobs, repeats)
    return [
        Figure(
            "height above drainage: pyflwdir / ours",
            took["pyflwdir"] / took["height"],
            5,
            detail=f"{took['height']:.2f} s",
        ),
        Figure(
            "distance from drainage: scipy / ours",
            took["scipy"] / took["distance"],
            3,
            detail=f"{took['distance']:.2f} s",
        ),
    ]


def large_flow_figures(ground):
    ours, peers, _ = drainage_jobs(ground)
    return drainage_ratios(medians(ours | peers, 1), f" at {ground.shape[0]} x {ground.shape[1]}")


def figures(side=2000, repeats=REPEATS):
    """Terrain and flow at side x side cells."""
    ground = farm_country(side)
    found = slope_aspect_figures(ground, repeats) + flow_figures(ground, repeats) + lines_figures(ground, repeats)
    large = farm_country(side * 5 // 2)
    words = f" at {large.shape[0]} x {large.shape[1]}"
    return found + slope_aspect_figures(large, REPEATS, words) + large_flow_figures(large)


if __name__ == "__main__":
    show(figures(*(int(word) for word in sys.argv[1:])))
