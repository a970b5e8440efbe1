"""The sun chart of any place: what hides the sun when, and the light that is left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tunnelsite.core.errors import given_or, refuse_other
from tunnelsite.core.horizon import Horizon
from tunnelsite.core.house import House
from tunnelsite.core.placement import Placement
from tunnelsite.core.plan_kind import PICTURE, TABLE, Content, PlanKind
from tunnelsite.core.process import Progress, silent
from tunnelsite.core.site import Site
from tunnelsite.plans.plan import Plan
from tunnelsite.plans.sunchart import tables
from tunnelsite.plans.sunchart.chart import Clock, Details, SunChart, horizon_chart
from tunnelsite.plans.sunchart.light_picture import light_svg
from tunnelsite.plans.sunchart.picture import sun_chart_svg
from tunnelsite.plans.sunchart.ridge_advice import house_gaps, ridge_light
from tunnelsite.plans.sunchart.settings import SunChartSettings
from tunnelsite.plans.sunchart.site_horizon import PointHorizon
from tunnelsite.plans.sunchart.view import SunView, sun_view
from tunnelsite.plans.sunchart.words import CAVEAT, lost_words
from tunnelsite.settings.model import Settings, crop_period, settings_from
from tunnelsite.sun.crops import default_transmission
from tunnelsite.sun.day_length import short_days
from tunnelsite.sun.field_comparison import HorizonDifference, horizon_differences
from tunnelsite.sun.field_horizon import measured_horizon
from tunnelsite.sun.position import Observer
from tunnelsite.sun.received import Light, light_received, midwinter_noon_clear

STEM = "sunchart"
TABLES = ("hidden", "hours", "horizon", "light")
FILES = {"chart": ".svg", **{name: f"-{name}.csv" for name in TABLES}}
FIELD_FILES = FILES | {"field": "-field.csv"}


@dataclass(frozen=True)
class Sky:
    """The horizon that counts at a place.

    Attributes: horizon, computed or measured. ground: of the bare ground, None where that does not count. notes.
        differences: of a horizon measured in the field from the computed one.
    """

    horizon: Horizon
    ground: Horizon | None
    notes: tuple[str, ...]
    differences: tuple[HorizonDifference, ...] = ()


def sun_chart(
    site: Site, place: Placement, settings: SunChartSettings | None = None, progress: Progress = silent
) -> Plan:
    """Horizon, paths of the sun, hidden hours and light at the centre of a placement.

    Args:
        site: as read.
        place: anywhere on the DEM; its settings say the crop months, the height at which light is wanted, and how trees are taken.
        settings: of the chart.
        progress: called with (what is being done, share done 0..1).

    Returns:
        Plan with the pictures `chart` and `light_bars`, the tables `hidden`, `hours`, `horizon`, `light` (and `field`); its `detail` is
        the `SunChart`.

    Raises:
        UsageError: for a place off the elevation data and for wrong settings.
        InputRefused: for far land that cannot be used.
    """
    refuse_other(site, "site", Site)
    refuse_other(place, "place", Placement)
    progress("horizon", 0.0)
    made = sun_chart_in(sun_view(site, settings_from(dict(place.settings))), place, settings)
    progress("horizon", 1.0)
    return made


def sun_chart_in(view: SunView, place: Placement, settings: SunChartSettings | None = None) -> Plan:
    """The same with what the charts of one farm share. Arguments: view; place; settings."""
    asked = given_or(settings, SunChartSettings)
    seen = view.seen_from(place.lon_deg, place.lat_deg)
    sky = _sky(seen, asked)
    steps, crop_days = view.steps_at(seen.place), crop_period(view.settings.crop_months)
    light = light_received(sky.horizon, steps, crop_days)
    details = Details(
        place.title, sky.ground, seen.eye_m, asked.days, light, (*sky.notes, *light.notes), feet=place.house.feet
    )
    chart = horizon_chart(sky.horizon, seen.place, Clock(asked.utc_offset_h), crop_days, details)
    transmission, cover = default_transmission()
    if asked.cover_transmission is not None:
        transmission, cover = asked.cover_transmission, "given"
    bearing = place.grid_bearing_deg
    ridge = ridge_light(place.lat_deg, bearing, view.ridges_of(steps, bearing), crop_days)
    gaps = house_gaps(place.lat_deg, bearing, _houses(place, view.settings))
    summary = _summary(chart, light, sky.differences) | {
        "cover": {"transmission": round(transmission, 4), "source": cover}
    }
    sheets = {
        "hidden": tables.hidden_table(chart),
        "hours": tables.hours_table(chart),
        "horizon": tables.horizon_table(chart),
        "light": tables.light_table(light, transmission),
    }
    if asked.field_horizon is not None:
        sheets["field"] = tables.comparison_table(sky.differences)
    return Plan(
        SUN_CHART.id,
        place.title,
        summary | {"ridge_bearing": ridge, "clear_gaps": gaps},
        {"chart": sun_chart_svg(chart), "light_bars": light_svg(chart, light, transmission)},
        sheets,
        notes=chart.notes,
        cautions=(CAVEAT,),
        stem=STEM,
        files=FILES if asked.field_horizon is None else FIELD_FILES,
        detail=chart,
    )


def _houses(place: Placement, settings: Settings) -> list[House]:
    """The houses whose gaps are of interest: those that compete, where this is no candidate of one size."""
    return settings.houses if place.rank is None and place.house in settings.houses else [place.house]


def _sky(seen: PointHorizon, asked: SunChartSettings) -> Sky:
    if asked.field_horizon is None or asked.north is None:
        return Sky(seen.surface, seen.ground, seen.notes)
    declination, words = _declination(asked, seen.place)
    field = measured_horizon(asked.field_horizon, north=asked.north, declination_deg=declination)
    notes = (*seen.notes, *words, *(f"field horizon {field.name}: {note}" for note in field.notes))
    differences = horizon_differences(field.horizon, seen.surface)
    if not asked.use_field:
        return Sky(seen.surface, seen.ground, notes, differences)
    notes = (*notes, f"the horizon of this chart is the one measured in the field ({field.name})")
    return Sky(field.horizon, None, notes, differences)


def _declination(asked: SunChartSettings, place: Observer) -> tuple[float | None, tuple[str, ...]]:
    """The declination of the compass, as given or from the magnetic model for the day, and words about it."""
    if asked.date is None:
        return asked.declination_deg, ()
    from tunnelsite.plans.stakeout.bearings import declination  # the magnetic model, only where it is wanted

    found = declination(place.lon_deg, place.lat_deg, place.altitude_m, asked.date)
    return found.declination_deg, tuple(filter(None, (f"declination {found.words}", found.note)))


def _summary(chart: SunChart, light: Light, differences: tuple[HorizonDifference, ...]) -> dict[str, Any]:
    noon, reason = midwinter_noon_clear(chart.horizon, chart.place)
    short = short_days(chart.place)
    return {
        "title": chart.title,
        "lon": chart.place.lon_deg,
        "lat": chart.place.lat_deg,
        "days": [
            {"month": d.month, "day": d.day, "clear_h": round(d.clear_h, 2), "possible_h": round(d.possible_h, 2)}
            for d in chart.days
        ],
        "crop_months": light.crop_months.period,
        "loses": lost_words(chart),
        "crop_beam_share": light.crop_months.beam_share,
        "crop_total_share": light.crop_months.total_share,
        "sky_view": light.sky_view,
        "sky_fraction": light.sky_fraction,
        "midwinter_noon_clear": noon,
        "midwinter_noon_reason": reason,
        "under_ten_hours": {
            "first": str(short.first or ""),
            "last": str(short.last or ""),
            "days": short.days,
            "definition": short.definition,
        },
        "hidden_by": [
            {"number": b.number, "what": b.what, "distance_m": b.distance_m, "standing_m": b.standing_m}
            for b in chart.blockers
        ],
        "field_differences": [vars(d) for d in differences if d.notable],
        "notes": list(chart.notes),
    }


SUN_CHART = PlanKind(
    id="sun_chart",
    title="Sun chart",
    text="Horizon, paths of the sun, when and what hides it, and the light of each month at one place, against an open site and what "
    "crops want.",
    source="reda-andreas-2003, ineichen-perez-2002, sky-view-dozier",
    settings=SunChartSettings,
    make=sun_chart,
    gives=(
        Content("chart", PICTURE, "the sky with horizon and sun paths, hidden hours and what hides the sun"),
        Content("light_bars", PICTURE, "light under the cover by month, here and in the open"),
        Content("hidden", TABLE, "each stretch of a day in which something hides the sun"),
        Content("hours", TABLE, "hours of sun by day"),
        Content("horizon", TABLE, "the horizon by direction"),
        Content("light", TABLE, "light by month"),
        Content("field", TABLE, "the horizon measured in the field against the computed one", optional=True),
    ),
    reads=("far_dem", "surface", "obstacles", "weather"),
    follows=("crop_months", "light_height", "bare_trees", "bare_transmission", "far_reach"),
)
