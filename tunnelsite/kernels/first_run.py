"""Kernels of a screening compiled in a process of their own, while the first run on a machine is at its first steps.

numba compiles one kernel at a time in a process and keeps what it compiled on disk. The first kernel that has to be compiled starts a
second process that compiles the kernels of a screening from the last step to the first; the run finds them on disk when it gets there.
"""

from __future__ import annotations

import contextlib
import gc
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator

import numpy as np
from numba.core import event

_SIDE = 60  # cells of the grid that the kernels are called with
_COMPILED = "numba:compile"


@contextlib.contextmanager
def compiled_beside(say: Callable[[str], None]) -> Iterator[None]:
    """While kernels are compiled in this block, others are in a process beside it; say(text) is called once, where one has to be."""
    listener = _FirstCompiled(say)
    event.register(_COMPILED, listener)
    try:
        yield
    finally:
        event.unregister(_COMPILED, listener)
        listener.end()


class _FirstCompiled(event.Listener):
    def __init__(self, say: Callable[[str], None]) -> None:
        self._say, self._beside, self._started = say, None, False

    def on_start(self, event: event.Event) -> None:
        if self._started:
            return
        self._started = True
        self._say("compiling kernels, on the first run only ...")
        if (os.cpu_count() or 1) < 2:
            return
        with contextlib.suppress(OSError):  # a run without it is slower, no more
            self._beside = subprocess.Popen(
                [sys.executable, "-P", "-m", "tunnelsite.kernels.first_run"],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env=os.environ | {"NUMBA_NUM_THREADS": "1"},
            )

    def on_end(self, event: event.Event) -> None:
        """Nothing: the first one is enough."""

    def end(self) -> None:
        """End the process beside this one, whatever it is at: what it has compiled is whole on disk."""
        if self._beside is not None:
            self._beside.kill()
            self._beside.wait()


def compile_screening(done: Callable[[str], None] = lambda name: None) -> None:
    """Call every kernel of a screening once, the last step's first, as a screening calls it; done(name of the step) after each."""
    for step in (_grade, _judge, _beside, _planes, _wind_and_water, _windows, _light):
        step(_ground())
        done(step.__name__)


def _ground() -> np.ndarray:
    across = np.arange(_SIDE, dtype=np.float32)
    return np.float32(0.3) * np.sin(across[:, None] * 1.7) * np.cos(across * 1.3) + across * np.float32(0.05)


def _grade(ground: np.ndarray) -> None:
    from tunnelsite.kernels.terrain.grading import graded_pads

    ground[30, 30] += 3.0  # a lone thing
    graded_pads(ground, np.array([30, 30]), np.array([30, 31]), 29.3, 9.1, 1.0, ripple_m=0.05, lone_sd_m=0.05)


def _planes(ground: np.ndarray) -> None:
    from tunnelsite.kernels.terrain.planes import rectangle_planes
    from tunnelsite.kernels.terrain.second_differences import mean_square_second_differences

    rectangle_planes(ground, 29.3, 9.1, 1.0)
    mean_square_second_differences(ground, 1, 5)


def _judge(ground: np.ndarray) -> None:
    from tunnelsite.kernels.disc_mean import disc_means
    from tunnelsite.kernels.expected import expected_excess, expected_marks, steeper_slope
    from tunnelsite.kernels.reach import rectangle_distances

    values = ground.ravel().astype(np.float64)
    steeper_slope(values, values, values, values)
    expected_excess(values, np.abs(values), 0.1)
    expected_marks(values, np.abs(values), 0.0, 1.0)
    disc_means(ground.astype(np.float64), np.zeros(ground.shape, int), np.arange(9), 3.0)
    rectangle_distances(values, values, 14.6, 4.5, values[:8].reshape(2, 4))


def _beside(ground: np.ndarray) -> None:
    from tunnelsite.kernels.clear_centres import Lattice, blocked_centres, overlapping_centres
    from tunnelsite.kernels.water.flow_beside import Water, flow_beside
    from tunnelsite.kernels.windows import rectangle_max

    lattice = Lattice(0.0, float(_SIDE), 1.0, _SIDE, _SIDE)
    blocked_centres(np.array([[20.0, 20.0, 30.0, 30.0]]), 3.0, 2.0, lattice)
    overlapping_centres(np.array([[20.0, 20.0], [30.0, 20.0], [30.0, 30.0]]), 3.0, 2.0, lattice)
    flow_beside(Water(ground, np.abs(ground) * 1e4, 1000.0, 0.5), ground[10:20], (10, 20), (29.3, 9.1), 5.0)
    rectangle_max(ground, 29.3, 9.1)


def _wind_and_water(ground: np.ndarray) -> None:
    from tunnelsite.kernels.air.topographic_factor import greatest_factor
    from tunnelsite.kernels.blocks import block_means, spread
    from tunnelsite.kernels.water.drainage_lines import distance_from_drainage, height_above_drainage

    spread(greatest_factor(block_means(ground, 5), 5.0), 5, ground)
    outlets = np.zeros(ground.shape, np.uint8)
    line = np.abs(ground) > 1.0
    height_above_drainage(ground, np.zeros_like(ground), outlets, line, 0.5)
    distance_from_drainage(line, np.isfinite(ground), (1.0, 1.0), 50.0, 10.0)


def _windows(ground: np.ndarray) -> None:
    from tunnelsite.kernels.windows import rectangle_mean

    rectangle_mean(ground, 29.3, 9.1)


def _light(ground: np.ndarray) -> None:
    from tunnelsite.kernels.air.wind_shelter import wind_shelter

    wind_shelter(ground, np.abs(ground) * 10, 1.0, np.array([100.0]), np.array([1.0]))


def _end_with_the_run() -> None:
    """Where the run is broken off, its end of the pipe closes."""
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    threading.Thread(target=_end_with_the_run, daemon=True).start()
    gc.set_threshold(100_000, 50, 100)  # a compiler keeps most of what it makes
    with contextlib.suppress(Exception):  # the run compiles what is missing, and says what is wrong
        compile_screening()
