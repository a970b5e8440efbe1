"""Settings: what they are, what they are set to, and changes that keep the user's comments."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request

from tunnelsite.core.errors import UsageError
from tunnelsite.desk.answers import Conflict, body_of, json_of
from tunnelsite.desk.host import Desk
from tunnelsite.desk.measures import Units
from tunnelsite.desk.messages import SettingChange, SettingsMessage
from tunnelsite.desk.setting_fields import field_entries, preset_entries, weight_entries

GROUND = (
    "dem",
    "surface",
    "far_dem",
    "elevation_unit",
    "dem_crs",
    "band",
    "zero_is_nodata",
    "cell",
    "halo",
    "bearing",
    "parcels",
)


async def _settings(desk: Desk, request: Request) -> Any:
    return SettingsMessage(
        fields=field_entries(desk.project.raw(), Units(desk.project.units == "ft")),
        presets=preset_entries(),
        weights=weight_entries(desk.project.settings()),
    )


async def _change(desk: Desk, request: Request) -> Any:
    asked = await body_of(request, SettingChange)
    if not desk.project.begun:
        raise Conflict("there is no project yet", "a project", "begin first")
    async with desk.writing:
        desk.project.change(asked.set, asked.clear)
    if any(name in GROUND for name in (*asked.set, *asked.clear)):
        desk.look_again()
    elif desk.model.state == "ready":
        desk.soon(desk.count_cost())
    desk.changed()
    return await desk.state()


async def _units(desk: Desk, request: Request) -> Any:
    units = (await json_of(request)).get("units")
    if units not in ("ft", "m"):
        raise UsageError(f"units are {str(units)[:20]!r}", "ft or m", "choose one of them")
    desk.kept.change({"units": units})
    if desk.project.begun:
        await desk.say_in_units()
    desk.changed()
    return await desk.state()


ROUTES = (
    ("GET", "/api/settings", _settings),
    ("PATCH", "/api/settings", _change),
    ("PUT", "/api/units", _units),
)
