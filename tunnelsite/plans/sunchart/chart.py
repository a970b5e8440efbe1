"""The sun chart as numbers: paths of the sun by month, the horizon, and what hides the sun from when to when."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tunnelsite.core.errors import UsageError
from tunnelsite.core.horizon import Horizon
from tunnelsite.core.units import MONTH_DAYS, MONTHS
from tunnelsite.plans.sunchart.blockers import Blocker, blockers_of
from tunnelsite.plans.sunchart.settings import MONTHLY
from tunnelsite.sun.position import DAY_S, Observer, day_of_year, midnight_s, solar_noon_s, sun_positions
from tunnelsite.sun.received import Light


@dataclass(frozen=True)
class Clock:
    """How times are given: `utc_offset_h` hours ahead of UTC all year, or true solar time where it is None."""

    utc_offset_h: float | None = None

    def __post_init__(self) -> None:
        if self.utc_offset_h is not None and not -15 <= self.utc_offset_h <= 15:
            raise UsageError(f"UTC offset is {self.utc_offset_h}", "-15 to 15 hours", "correct it")

    @property
    def words(self) -> str:
        """For a caption."""
        if self.utc_offset_h is None:
            return "solar time (12 = the sun on the meridian)"
        hours, minutes = divmod(round(abs(self.utc_offset_h) * 60), 60)
        return f"clock time UTC{'-' if self.utc_offset_h < 0 else '+'}{hours:02d}:{minutes:02d} all year"

    def minutes(self, seconds: np.ndarray, day: int, place: Observer) -> np.ndarray:
        """Minutes of the day (may pass 0 and 1440 where a clock is far off the sun) of seconds in UTC."""
        if self.utc_offset_h is None:
            found: np.ndarray = 720 + (seconds - solar_noon_s(day, place)[0]) / 60
            return found
        midnight = midnight_s(day, 0.0) - self.utc_offset_h * 3600
        return (seconds - midnight) / 60


@dataclass(frozen=True)
class SunDay:
    """The sun's way over one day, minute by minute while it is above the level horizon.

    Attributes: month, day; minutes of the day [n]; azimuth_deg, elevation_deg [n]; clear, whether the centre of the sun is seen [n].
    """

    month: int
    day: int
    minutes: np.ndarray
    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    clear: np.ndarray

    @property
    def name(self) -> str:
        """As `21 Dec`."""
        return f"{self.day} {MONTHS[self.month - 1].capitalize()}"

    @property
    def possible_h(self) -> float:
        """Hours with a flat horizon."""
        return len(self.minutes) / 60

    @property
    def clear_h(self) -> float:
        """Hours of direct sun under a clear sky."""
        return float(self.clear.sum()) / 60


@dataclass(frozen=True)
class Stretch:
    """One stretch of a day in which something hides the sun.

    Attributes: month, day; start_min, end_min of the day; from_deg, to_deg, azimuths of the sun; sun_deg, greatest elevation of the sun
    within it; blocker, number of what hides it.
    """

    month: int
    day: int
    start_min: float
    end_min: float
    from_deg: float
    to_deg: float
    sun_deg: float
    blocker: int


@dataclass(frozen=True)
class SunChart:
    """Everything a sun chart shows.

    Attributes:
        title; place; eye_m [m]; clock. horizon: of everything. ground: of the bare ground, or None where it is not known apart.
        days, stretches, blockers: see there. crop_days: first and last day of the crop months ((month, day), (month, day)).
        light: sums for the point, or None. notes. sun_of: where the sun's way was taken, None = at the place itself.
        feet: whether feet come first.
    """

    title: str
    place: Observer
    eye_m: float
    clock: Clock
    horizon: Horizon
    ground: Horizon | None
    days: tuple[SunDay, ...]
    stretches: tuple[Stretch, ...]
    blockers: tuple[Blocker, ...]
    crop_days: tuple[tuple[int, int], tuple[int, int]]
    light: Light | None = None
    notes: tuple[str, ...] = ()
    sun_of: Observer | None = None
    feet: bool = False

    @property
    def sun_place(self) -> Observer:
        """Where the sun is that of the chart."""
        return self.sun_of or self.place

    def in_crop(self, month: int, day: int) -> bool:
        """Whether a day lies in the crop months."""
        first, last = self.crop_days
        inside = first <= (month, day) <= last
        return inside if first <= last else (month, day) >= first or (month, day) <= last


@lru_cache(maxsize=64)
def _sun_over_day(place: Observer, number: int) -> tuple[np.ndarray, np.ndarray]:
    """(azimuth, elevation) of the sun in the middle of each minute of a day [deg]; kept, as many charts of one place ask for it."""
    return sun_positions(midnight_s(number, place.lon_deg) + np.arange(30, DAY_S, 60), place)


def sun_day(horizon: Horizon, place: Observer, clock: Clock, month: int, day: int) -> SunDay:
    """The sun over one day; behind crowns that pass a part of it counts as hidden. Errors: UsageError for a day that does not exist."""
    if not (1 <= month <= 12 and 1 <= day <= MONTH_DAYS[month - 1]):
        raise UsageError(f"day of the chart is {month}-{day}", "a day of a 365-day year", "correct it")
    number = day_of_year(month, day)
    seconds = midnight_s(number, place.lon_deg) + np.arange(30, DAY_S, 60)
    azimuth, elevation = _sun_over_day(place, number)
    up = elevation > 0
    clear = horizon.beam_factor(azimuth[up], elevation[up], np.full(int(up.sum()), month)) >= 1.0
    return SunDay(month, day, clock.minutes(seconds[up], number, place), azimuth[up], elevation[up], clear)


@dataclass(frozen=True)
class Details:
    """What else a chart shows.

    Attributes:
        title. ground: horizon of the bare ground, or None. eye_m above the ground [m].
        days: ((month, day), ...), by default every month's 21st. light: sums for the point, or None. notes. sun_of: a place near by whose
        sun is taken for that of this one, or None. feet: whether feet come first.
    """

    title: str = "Sun chart"
    ground: Horizon | None = None
    eye_m: float = 0.0
    days: tuple[tuple[int, int], ...] = MONTHLY
    light: Light | None = None
    notes: tuple[str, ...] = ()
    sun_of: Observer | None = None
    feet: bool = False


def horizon_chart(
    horizon: Horizon,
    place: Observer,
    clock: Clock,
    crop_days: tuple[tuple[int, int], tuple[int, int]],
    details: Details | None = None,
) -> SunChart:
    """Paths of the sun behind a horizon, and what hides it when.

    Arguments: horizon; place; clock; crop_days, first and last of the crop months; details.
    Errors: UsageError for a day that does not exist.
    """
    more = details or Details()
    paths = tuple(sun_day(horizon, more.sun_of or place, clock, month, day) for month, day in more.days)
    blockers, owner = blockers_of(horizon, [path.azimuth_deg[~path.clear] for path in paths])
    stretches = tuple(
        stretch for path in paths for stretch in _stretches(path, owner[horizon.nearest(path.azimuth_deg)])
    )
    return SunChart(
        more.title,
        place,
        more.eye_m,
        clock,
        horizon,
        more.ground,
        paths,
        stretches,
        blockers,
        crop_days,
        more.light,
        more.notes,
        more.sun_of,
        more.feet,
    )


def _stretches(path: SunDay, owner: np.ndarray) -> list[Stretch]:
    """Runs of minutes hidden by one and the same thing."""
    if not len(path.minutes):
        return []
    number = np.where(path.clear, 0, owner)
    jump = np.diff(path.minutes, prepend=-np.inf) > 1.5  # midnight sun: the day's two ends are not next to each other
    starts = np.flatnonzero(np.diff(number, prepend=-1).astype(bool) | jump)
    found = []
    for start, end in zip(starts, [*starts[1:], len(number)], strict=True):
        if number[start] == 0:
            continue
        span = slice(start, end)
        azimuth = path.azimuth_deg[span]
        minutes = path.minutes[start] - 0.5, path.minutes[end - 1] + 0.5
        found.append(
            Stretch(
                path.month,
                path.day,
                *minutes,
                float(azimuth[0]),
                float(azimuth[-1]),
                float(path.elevation_deg[span].max()),
                int(number[start]),
            )
        )
    return found


def clock_words(minutes: float) -> str:
    """`07:05` from minutes of the day."""
    hour, minute = divmod(round(minutes) % 1440, 60)
    return f"{hour:02d}:{minute:02d}"
