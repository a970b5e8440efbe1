"""Reads the wind of a year from a weather file (EPW or TMY3) of the user, through pvlib."""

from __future__ import annotations

import os

import numpy as np

from tunnelsite.core.errors import InputRefused
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.io.read.files import file_name, sha256
from tunnelsite.io.read.weather import kind_of

STEP_DEG = 10.0  # weather stations report directions in tens of degrees
LEAST_HOURS = 4380  # half a year; fewer known hours make no rose of a year
FASTEST = 100.0  # m/s; 999 is the mark of a missing speed in EPW
EXPECTED = "an EPW or TMY3 file with wind direction and speed, hour by hour"


def read_wind_rose(path: str | os.PathLike[str]) -> WindRose:
    """Wind rose of a year in steps of 10 degrees, each hour weighted with the square of its speed, as its pressure is.

    Arguments: path of a `.epw` or a TMY3 `.csv`. Errors: InputRefused with the reason.
    Calm hours have no weight; hours without direction or speed (999 in EPW, -9900 in TMY3) are left out and counted.
    """
    from pvlib import iotools

    file, kind = kind_of(path, "--wind")
    try:
        data, _ = iotools.read_epw(file) if kind == "EPW" else iotools.read_tmy3(file, map_variables=True)
        direction, speed = (data[name].to_numpy(float) for name in ("wind_direction", "wind_speed"))
    except (KeyError, ValueError, TypeError, IndexError, OSError, UnicodeDecodeError) as problem:
        raise InputRefused(
            f"{file.name} cannot be read as {kind} ({problem})", EXPECTED, "get the file again, or give --wind-from"
        ) from None
    known = (speed >= 0) & (speed < FASTEST) & (direction >= 0) & (direction <= 360)
    if known.sum() < LEAST_HOURS or not speed[known].any():
        raise InputRefused(
            f"{file.name} tells the wind in {int(known.sum())} of {len(known)} hours",
            EXPECTED,
            "choose another station, or give --wind-from",
        )
    rose = rose_of(direction[known], speed[known])
    note = f"{kind}: wind rose of the whole year, hours weighted by speed squared; mostly from {rose[0][rose[1].argmax()]:g} deg"
    left_out = [f"{int((~known).sum())} hours without wind left out"] if not known.all() else []
    return WindRose(*rose, name=file_name(file), sha256=sha256(file), notes=(note, *left_out))


def rose_of(direction_deg: np.ndarray, speed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(directions from [deg], shares) in steps of 10 degrees of hours with a direction and a speed."""
    count = round(360 / STEP_DEG)
    step = np.round(np.asarray(direction_deg) / STEP_DEG).astype(int) % count
    weight = np.bincount(step, weights=np.square(speed), minlength=count)
    return np.arange(count) * STEP_DEG, weight / weight.sum()
