"""Lamp light against a slow reference, and what must hold of it."""

from __future__ import annotations

import math

import numba
import numpy as np
import pytest

from tunnelsite.kernels.light.illuminance import Lamps, lamp_light, reach_m


def lamps_of(*rows) -> Lamps:
    return Lamps(*(np.array(values, float) for values in zip(*rows, strict=True)))


def slow(surface, eye, cell, lamps, least, free_m, horizontal):
    """Cell by cell and lamp by lamp, the sight sampled with plain Python."""
    rows, cols = surface.shape
    lux = np.zeros((rows, cols))
    for q in range(len(lamps.row)):
        row, col, height, lumens, down = (float(item[q]) for item in lamps)
        reach = math.sqrt(lumens / (math.pi if down else 4 * math.pi) / least)
        for r in range(rows):
            for c in range(cols):
                flat = math.hypot(r - row, c - col) * cell
                if flat > reach or math.isnan(eye[r, c]):
                    continue
                up = height - float(eye[r, c])
                d = max(math.hypot(flat, up), 0.1)
                cosine = max(up / d, 0.0)
                light = (lumens / math.pi * cosine if down else lumens / (4 * math.pi)) / d**2
                light *= cosine if horizontal else 1.0
                run = max(abs(row - r), abs(col - c))
                blocked = False
                for k in range(1, math.ceil(run)):
                    t = k / run
                    if (1 - t) * math.hypot(row - r, col - c) <= free_m / cell:
                        break
                    y, x = r + t * (row - r), c + t * (col - c)
                    if abs(row - r) >= abs(col - c):
                        i, j = round(y), math.floor(x)
                        f, other = x - j, (i, min(j + 1, cols - 1))
                    else:
                        i, j = math.floor(y), round(x)
                        f, other = y - i, (min(i + 1, rows - 1), j)
                    z = surface[i, j] if f < 1e-9 else (1 - f) * float(surface[i, j]) + f * float(surface[other])
                    blocked |= bool(z > eye[r, c] + t * (height - float(eye[r, c])))
                lux[r, c] += 0.0 if blocked else light
    return np.where(np.isnan(eye), np.nan, lux)


@pytest.mark.parametrize("horizontal", [False, True])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_against_the_slow_reference(seed, horizontal) -> None:
    rng = np.random.default_rng(seed)
    surface = rng.normal(0, 0.3, (34, 41)).astype(np.float32)
    surface[rng.random(surface.shape) < 0.03] += 6
    eye = (surface + 0.5).astype(np.float32)
    eye[5:8, 3:9] = np.nan
    surface[20, 20:22] = np.nan
    lamps = lamps_of((10.3, 12.8, 4.0, 900.0, 0), (0.0, 40.0, 6.0, 5000.0, 1), (33.4, -0.3, 2.0, 50.0, 0))
    fast = lamp_light(surface, eye, 0.7, lamps, 0.02, 1.5, horizontal)
    clipped = Lamps(np.clip(lamps.row, 0, 33), np.clip(lamps.col, 0, 40), *lamps[2:])
    expected = slow(surface, eye, 0.7, clipped, 0.02, 1.5, horizontal)
    assert np.array_equal(np.isnan(fast), np.isnan(expected))
    differ = ~np.isclose(fast, expected, rtol=1e-5, atol=1e-7, equal_nan=True)
    assert differ.mean() < 0.002  # a sight that just grazes a cell may fall either way by rounding
    assert (fast[~np.isnan(fast)] == 0).any() and (fast[~np.isnan(fast)] > 0).mean() > 0.3


def test_a_wall_hides_a_lamp_and_a_taller_lamp_looks_over_it() -> None:
    """Wall 3 m high at 10 m, lamp at 20 m: a lamp at 6 m is seen over it from 0 m only if 3 < 6 x 10 / 20 = 3 (by hand)."""
    ground = np.zeros((5, 40), np.float32)
    surface = ground.copy()
    surface[:, 15] = 3.0
    for height, seen in ((5.9, False), (6.1, True)):
        lux = lamp_light(surface, ground, 1.0, lamps_of((2, 25, height, 4 * math.pi * 1000, 0)))
        assert (lux[2, 5] > 0) == seen
        assert lux[2, 20] > 0


def test_sums_and_neglect() -> None:
    """Light adds up; what is left out is under `least_lux` a lamp; threads change nothing."""
    rng = np.random.default_rng(5)
    surface = rng.normal(0, 0.5, (60, 70)).astype(np.float32)
    eye = surface + np.float32(1)
    a, b = (12.0, 30.0, 7.0, 300.0, 0), (50.0, 60.0, 5.0, 800.0, 1)
    both = lamp_light(surface, eye, 2.0, lamps_of(a, b), 1e-4)
    single = [lamp_light(surface, eye, 2.0, lamps_of(lamp), 1e-4) for lamp in (a, b)]
    assert np.allclose(both, single[0] + single[1], rtol=1e-6)
    coarse = lamp_light(surface, eye, 2.0, lamps_of(a, b), 0.05)
    assert ((both - coarse) >= -1e-6).all() and (both - coarse).max() <= 2 * 0.05
    assert reach_m(lamps_of(a), 0.05)[0] == pytest.approx(math.sqrt(300 / (4 * math.pi) / 0.05))
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        assert np.array_equal(both, lamp_light(surface, eye, 2.0, lamps_of(a, b), 1e-4))
    finally:
        numba.set_num_threads(threads)


def test_lamps_outside_are_refused_and_no_lamp_is_dark() -> None:
    flat = np.zeros((4, 4), np.float32)
    with pytest.raises(ValueError, match="1 lamps"):
        lamp_light(flat, flat, 1.0, lamps_of((9, 1, 3, 100, 0)))
    none = Lamps(*(np.empty(0) for _ in range(5)))
    assert (lamp_light(flat, flat, 1.0, none) == 0).all()
