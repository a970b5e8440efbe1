"""Features of a site as they are named or given: obstacles, structures, lamps, soils, keep-outs, services, and the wind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from tunnelsite.core.layers import Features
from tunnelsite.core.wind_rose import WindRose
from tunnelsite.io.read.given import features_of, is_path
from tunnelsite.settings.model import keep_out_parts

if TYPE_CHECKING:
    from tunnelsite.io.read.given import Vector

ANY = ("point", "line", "polygon")
OPTIONAL = {"obstacles": ANY, "structures": ("polygon",), "lamps": ("point",), "soils": ("polygon",)}


def optional_features(given: Mapping[str, Vector | None]) -> dict[str, Features | None]:
    """Features by the name of their setting; None where none were given."""
    return {
        name: None if path is None else features_of(path, f"--{name}", kinds=OPTIONAL[name], may_be_empty=True)
        for name, path in given.items()
    }


def service_features(given: Mapping[str, Vector]) -> dict[str, Features]:
    """Services by name."""
    return {name: features_of(path, f"--service {name}", kinds=ANY, may_be_empty=True) for name, path in given.items()}


def wind_of(path: str | None, from_deg: float | None) -> WindRose | None:
    """The rose of a weather file, or of one prevailing direction [deg], which rules where both are given."""
    if from_deg is not None:
        return WindRose.prevailing(from_deg)
    if path is None:
        return None
    from tunnelsite.io.read.wind_rose import read_wind_rose  # pvlib only where it is asked for

    return read_wind_rose(path)


def keep_out_of(given: Vector) -> Features:
    """A keep-out with its distance."""
    file, distance_m = keep_out_parts(str(given)) if is_path(given) else (given, 0.0)
    found = features_of(file, "--keep-out", kinds=ANY, may_be_empty=True)
    return replace(found, distance_m=distance_m)
