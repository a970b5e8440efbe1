"""Light through a bare half-cylinder of film, by bearing of its ridge: an idealised model, derived here [@film-model].

What it leaves out (frame, dirt, ends, scattering film) makes real differences smaller. It says which way a ridge is better in
which season and by how much at most; nothing more.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from tunnelsite.core.units import days_of
from tunnelsite.sun.irradiance import SunSteps

LABEL = "derived, not published: idealised half-cylinder of clear film (n = 1.5), infinitely long, no frame"
FILM_INDEX = 1.5
WINTER_NORTH, WINTER_SOUTH = ((10, 1), (3, 31)), ((4, 1), (9, 30))
_FLOOR = ((np.arange(100) + 0.5) / 50 - 1)[:, None]  # points across the floor, in radii from the middle


def film_transmission(cos_incidence: np.ndarray, index: float = FILM_INDEX) -> np.ndarray:
    """Share of unpolarised light that a clear film passes: Fresnel at both faces with all inner reflections, no absorption.

    Arguments: cos_incidence, 0..1; index of refraction. Source: [@duffie-beckman-cover].
    """
    cosine = np.clip(np.asarray(cos_incidence, float), 0.0, 1.0)
    inner = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
    crossed = ((cosine - index * inner) / (cosine + index * inner)) ** 2
    aligned = ((inner - index * cosine) / (inner + index * cosine)) ** 2
    return np.asarray(((1 - crossed) / (1 + crossed) + (1 - aligned) / (1 + aligned)) / 2)


def floor_transmission(azimuth_deg: np.ndarray, elevation_deg: np.ndarray, bearing_deg: float) -> np.ndarray:
    """Share of the light from each direction [n] that reaches the floor, mean over the floor's width [n].

    Every ray that meets the floor is followed back to the film: where it crosses the half-cylinder, the angle to the film's
    normal gives what passes. Arguments: azimuth from true north, elevation above 0 [deg]; bearing_deg of the ridge.
    """
    elevation, off = np.radians(elevation_deg), np.radians(np.asarray(azimuth_deg) - bearing_deg)
    up, across = np.sin(elevation), np.cos(elevation) * np.sin(off)
    in_section = across**2 + up**2
    reach = (np.sqrt((_FLOOR * across) ** 2 + in_section * (1 - _FLOOR**2)) - _FLOOR * across) / in_section
    cosine = (_FLOOR + reach * across) * across + reach * up**2  # the normal of a unit circle is the point itself
    return np.asarray(film_transmission(cosine).mean(axis=0))


@functools.cache
def sky_transmission() -> float:
    """Share of the light of an evenly bright sky that reaches the floor; the same for every bearing."""
    elevation = np.degrees(np.arcsin(np.sqrt((np.arange(60) + 0.5) / 60)))  # equal parts of what falls on a level plane
    azimuth = np.arange(0.0, 360.0, 3.0) + 1.5
    directions = np.meshgrid(azimuth, elevation)
    return float(floor_transmission(directions[0].ravel(), directions[1].ravel(), 0.0).mean())


@dataclass(frozen=True)
class FilmLight:
    """What a ridge of one bearing passes of the light of a year.

    Attributes: steps of a year under an open sky (clear sky or weather); beam_wh [n], what reaches the floor of each step's beam;
    sky, the share that does of the sky's light.
    """

    steps: SunSteps
    beam_wh: np.ndarray
    sky: float

    @classmethod
    def of(cls, steps: SunSteps, bearing_deg: float) -> FilmLight:
        """Arguments: steps; bearing_deg of the ridge."""
        beam = floor_transmission(steps.azimuth_deg, steps.elevation_deg, bearing_deg) * steps.beam_wh
        return cls(steps, beam, sky_transmission())

    def share(self, period: tuple[tuple[int, int], tuple[int, int]]) -> float | None:
        """Light on the floor / light on open ground over a part of the year, beam and sky together; None without sun.

        Arguments: period, first and last (month, day).
        """
        inside = np.isin(self.steps.day, days_of(period))
        beam, sky = self.steps.beam_wh[inside], self.steps.diffuse_wh[inside]
        if beam.sum() + sky.sum() <= 0:
            return None
        return float((self.beam_wh[inside].sum() + self.sky * sky.sum()) / (beam.sum() + sky.sum()))
