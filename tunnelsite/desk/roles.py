"""What a file may be used as, what it is proposed to be, and how the project file says so."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.messages import Role
from tunnelsite.io.read.file_facts import FileFacts
from tunnelsite.io.read.files import layer_of
from tunnelsite.settings.model import keep_out_parts

ROLES = (
    Role(id="dem", title="Bare ground (heights)", help="The terrain model that everything is measured on.", kind="raster"),
    Role(id="surface", title="Ground with what stands on it", help="Casts the shade of trees and buildings.", kind="raster"),
    Role(id="far_dem", title="Land beyond", help="A coarser terrain model of the hills around, for the horizon.", kind="raster"),
    Role(id="parcels", title="Fields", help="Where a house may stand.", kind="features"),
    Role(id="obstacles", title="Trees and other things that stand", help="Points, lines or areas with height_m.", kind="features"),
    Role(id="structures", title="Buildings to stay clear of", help="Areas.", kind="features"),
    Role(id="keep_out", title="Keep out", help="Wetland, floodplain, septic, easement, lines: nothing may stand there.",
         kind="features", several=True, distance=True),
    Role(id="soils", title="Soil map", help="Areas with a drainage class.", kind="features"),
    Role(id="lamps", title="Lamps", help="Points with lumens: light at night.", kind="features"),
    Role(id="service:water", title="Water", help="Where water is to be had.", kind="features"),
    Role(id="service:power", title="Power", help="Where power is to be had.", kind="features"),
    Role(id="service:road", title="Road", help="What can be driven on.", kind="features"),
    Role(id="service:fuel", title="Fuel", help="Where fuel is to be had.", kind="features"),
    Role(id="weather", title="Weather year", help="Weighs the light and tells the wind.", kind="weather"),
)  # fmt: skip
SINGLE = ("dem", "surface", "far_dem", "parcels", "obstacles", "structures", "soils", "lamps", "weather", "wind")
# Words in a file's name that say what it is, the first that fits.
NAMES = (
    ("surface", ("surface", "dsm", "first_return", "canopy")),
    ("dem", ("dem", "dtm", "ground", "bare", "elev", "height", "terrain")),
    ("keep_out", ("wetland", "flood", "septic", "easement", "keep", "buffer", "line", "pipe", "well")),
    ("parcels", ("parcel", "field", "plot", "lot")),
    ("obstacles", ("tree", "obstacle", "hedge", "shelter")),
    ("structures", ("building", "structure", "barn", "house")),
    ("soils", ("soil",)),
    ("lamps", ("lamp", "light")),
    ("service:water", ("water", "hydrant", "pond")),
    ("service:power", ("power", "electric")),
    ("service:road", ("road", "lane", "drive", "track")),
)


def used_as(raw: Mapping[str, Any], name: str) -> tuple[str | None, float | None]:
    """(role, distance [m] of a keep-out) of a file in the project's settings."""
    for role in SINGLE:
        if isinstance(raw.get(role), str) and layer_of(raw[role])[0] == name:
            return role, None
    for service, file in (raw.get("service") or {}).items():
        if layer_of(str(file))[0] == name:
            return f"service:{service}", None
    for entry in _keep_outs(raw):
        file, distance = keep_out_parts(entry)
        if layer_of(file)[0] == name:
            return "keep_out", distance
    return None, None


def proposed(path: Path, facts: FileFacts, raw: Mapping[str, Any]) -> tuple[str | None, str]:
    """(role, why) of a file that is not used yet; None where nothing speaks for one."""
    name = path.stem.lower()
    if facts.picture:
        return None, ""
    fits = {role.id: role.kind for role in ROLES}
    for role, words in NAMES:
        word = next((word for word in words if word in name), None)
        if word is not None and fits[role] == facts.kind:
            return role, f"its name holds “{word}”"
    if facts.kind == "raster" and not raw.get("dem"):
        return "dem", "a raster, and there is no ground yet"
    if facts.kind == "weather":
        return "weather", "a year of weather"
    if facts.geometry == "polygon" and not raw.get("parcels"):
        return "parcels", "areas, and there is no field yet"
    if "height_m" in facts.columns:
        return "obstacles", "it has a column height_m"
    return None, ""


def change_for(raw: Mapping[str, Any], name: str, role: str | None, distance: str | float | None) -> dict[str, Any]:
    """The change of settings that lets a file be used as a role, or as nothing. Errors: UsageError for an unknown role."""
    change: dict[str, Any] = {}
    was, _ = used_as(raw, name)
    entries = [entry for entry in _keep_outs(raw) if layer_of(keep_out_parts(entry)[0])[0] != name]
    if was == "keep_out":
        change["keep_out"] = entries
    elif was is not None:
        change |= _single(was, None)
    if role is None:
        return change
    if role == "keep_out":
        given = str(distance).replace(" ", "") if distance not in (None, "", 0) else ""
        change["keep_out"] = [*entries, f"{name}@{given}" if given else name]
    elif role in SINGLE or (role.startswith("service:") and role.partition(":")[2].replace("-", "_").isidentifier()):
        change |= _single(role, name)
    else:
        raise UsageError(
            f"{name} would be used as {role[:40]!r}", ", ".join(one.id for one in ROLES), "choose one of them"
        )
    return change


def _single(role: str, value: str | None) -> dict[str, Any]:
    head, _, service = role.partition(":")
    return {"service": {service: value}} if service else {head: value}


def _keep_outs(raw: Mapping[str, Any]) -> list[str]:
    given = raw.get("keep_out") or []
    return [given] if isinstance(given, str) else [str(entry) for entry in given]
