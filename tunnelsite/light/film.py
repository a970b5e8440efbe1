"""Beam light through a bare half-cylinder of film, by bearing of its ridge: an idealised model, DERIVED here, not published.

What it leaves out (frame, dirt, ends, diffuse light, scattering film) makes real differences smaller. It says which
way a ridge is better in which
season and by how much at most; nothing more.
"""

from __future__ import annotations

import numpy as np

LABEL = "derived, not published: idealised beam-only half-cylinder film (n = 1.5), infinitely long, no frame, no diffuse light"
FILM_INDEX = 1.5


def film_transmission(cos_incidence: np.ndarray, index: float = FILM_INDEX) -> np.ndarray:
    """Share of unpolarised light that a clear film passes: Fresnel at both faces with all inner reflections, no absorption.

    Arguments: cos_incidence, 0..1; index of refraction. Source: Duffie & Beckman eq. 5.1.1-5.1.3, one cover without
    absorption, (1 - r) / (1 + r) (memory).
    """
    cosine = np.clip(np.asarray(cos_incidence, float), 0.0, 1.0)
    inner = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
    crossed = ((cosine - index * inner) / (cosine + index * inner)) ** 2
    aligned = ((inner - index * cosine) / (inner + index * cosine)) ** 2
    return ((1 - crossed) / (1 + crossed) + (1 - aligned) / (1 + aligned)) / 2


def day_transmission(lat_deg: float, declination: float, bearing_deg: float) -> float | None:
    """Beam energy on the floor through the film / beam energy on open ground, over one day; None in polar night.

    Every ray that meets the floor is followed back to the film: where it crosses the half-cylinder, the angle to the
    film's normal gives what
    passes. Rays are spread evenly over the floor's width and the day's hour angles, and weighted with the beam on
    the horizontal, its strength
    0.7 ** (1 / sin h) ** 0.678 (Meinel & Meinel 1976, memory).

    Arguments: lat_deg, declination [deg]; bearing_deg of the ridge from true north.
    """
    lat, decl, bearing = (np.radians(value) for value in (lat_deg, declination, bearing_deg))
    flat = np.sin(lat) * np.sin(decl)
    round_ = np.cos(lat) * np.cos(decl)
    sunset = np.arccos(np.clip(-flat / max(round_, 1e-12), -1.0, 1.0))
    hour = (np.arange(480) + 0.5) / 480 * 2 * sunset - sunset
    up = flat + round_ * np.cos(hour)
    if sunset <= 0 or up.max() <= 1e-6:
        return None
    up = np.maximum(up, 1e-6)
    east = -np.cos(decl) * np.sin(hour)
    north = np.cos(lat) * np.sin(decl) - np.sin(lat) * np.cos(decl) * np.cos(hour)
    across = east * np.cos(bearing) - north * np.sin(bearing)
    floor = ((np.arange(200) + 0.5) / 100 - 1)[:, None]  # in radii from the middle
    in_section = across**2 + up**2
    reach = (np.sqrt((floor * across) ** 2 + in_section * (1 - floor**2)) - floor * across) / in_section
    cosine = (
        floor + reach * across
    ) * across + reach * up**2  # sun . normal; the normal of a unit circle is the point itself
    beam = up * 0.7 ** ((1 / up) ** 0.678)
    return float((film_transmission(cosine).mean(axis=0) * beam).sum() / beam.sum())


def east_west_gain(lat_deg: float, declination: float, bearing_deg: float = 0.0) -> float | None:
    """How much more beam an E-W ridge passes than one at `bearing_deg` on a day of this declination: 0.07 = 7 %
    more; None in polar night."""
    other, east_west = (day_transmission(lat_deg, declination, bearing) for bearing in (bearing_deg, 90.0))
    return None if other is None or east_west is None else east_west / other - 1.0
