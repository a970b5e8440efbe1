"""The sun chart as tables for CSV: what hides the sun when, hours by day, the horizon, the light by month, the field horizon compared."""

from __future__ import annotations

import numpy as np

from tunnelsite.core.sources import source_words
from tunnelsite.core.table import Column, Table
from tunnelsite.core.units import MONTHS
from tunnelsite.plans.sunchart.chart import SunChart, clock_words
from tunnelsite.sun.crops import CROP_BANDS, against_band, daily_light_integral
from tunnelsite.sun.field_comparison import HorizonDifference
from tunnelsite.sun.received import Light


def hidden_table(chart: SunChart) -> Table:
    """One row for each stretch of a day in which something hides the sun."""
    numbers = {blocker.number: blocker for blocker in chart.blockers}
    rows = [(stretch, numbers[stretch.blocker]) for stretch in chart.stretches]
    clock = chart.clock.words
    return Table(
        {
            "month": Column([s.month for s, _ in rows], "INTEGER", "month"),
            "day": Column([s.day for s, _ in rows], "INTEGER", "day"),
            "from_time": Column([clock_words(s.start_min) for s, _ in rows], "TEXT", f"sun hidden from, {clock}"),
            "to_time": Column([clock_words(s.end_min) for s, _ in rows], "TEXT", f"sun hidden until, {clock}"),
            "minutes": Column([round(s.end_min - s.start_min, 1) for s, _ in rows], "REAL", "how long", "min"),
            "from_azimuth_deg": Column(
                [round(s.from_deg, 2) for s, _ in rows], "REAL", "azimuth of the sun then", "deg"
            ),
            "to_azimuth_deg": Column([round(s.to_deg, 2) for s, _ in rows], "REAL", "azimuth of the sun then", "deg"),
            "sun_elevation_deg": Column(
                [round(s.sun_deg, 2) for s, _ in rows], "REAL", "greatest elevation of the hidden sun", "deg"
            ),
            "number": Column([b.number for _, b in rows], "INTEGER", "number in the chart"),
            "what": Column([b.what or None for _, b in rows], "TEXT", "what hides it"),
            "kind": Column([b.kind or None for _, b in rows], "TEXT", "ground, or standing on it"),
            "distance_m": Column(
                [_centimetres(b.distance_m) for _, b in rows], "REAL", "distance of its highest point", "m"
            ),
            "standing_m": Column(
                [_centimetres(b.standing_m) for _, b in rows], "REAL", "its height above its own ground", "m"
            ),
            "top_elevation_deg": Column(
                [round(b.top_deg, 3) for _, b in rows], "REAL", "elevation of its highest point", "deg"
            ),
            "top_azimuth_deg": Column(
                [b.top_azimuth_deg for _, b in rows], "REAL", "azimuth of its highest point", "deg"
            ),
        }
    )


def _centimetres(value_m: float | None) -> float | None:
    return None if value_m is None else round(value_m, 2)


def _share(value: float | None) -> float | None:
    return None if value is None else round(value, 5)


def hours_table(chart: SunChart) -> Table:
    """One row a day of the chart: hours of direct sun, clear and possible."""
    days = chart.days
    ends = [
        (clock_words(day.minutes[0]), clock_words(day.minutes[-1])) if len(day.minutes) else (None, None)
        for day in days
    ]
    return Table(
        {
            "month": Column([day.month for day in days], "INTEGER", "month"),
            "day": Column([day.day for day in days], "INTEGER", "day"),
            "first_sun": Column(
                [first for first, _ in ends],
                "TEXT",
                f"the sun's centre above a level horizon from, {chart.clock.words}",
            ),
            "last_sun": Column([last for _, last in ends], "TEXT", f"until, {chart.clock.words}"),
            "noon_elevation_deg": Column(
                [round(float(d.elevation_deg.max()), 2) if len(d.minutes) else None for d in days],
                "REAL",
                "highest",
                "deg",
            ),
            "possible_h": Column([round(day.possible_h, 3) for day in days], "REAL", "with a level horizon", "h"),
            "clear_h": Column([round(day.clear_h, 3) for day in days], "REAL", "with this horizon", "h"),
        }
    )


def horizon_table(chart: SunChart) -> Table:
    """One row a direction."""
    horizon, count = chart.horizon, len(chart.horizon.azimuth_deg)
    unknown = np.full(count, np.nan)
    ground = unknown if chart.ground is None else chart.ground.along(chart.ground.top_deg, horizon.azimuth_deg)
    distance = unknown if horizon.distance_m is None else horizon.distance_m
    tall = unknown if horizon.standing_m is None else horizon.standing_m
    return Table(
        {
            "azimuth_deg": Column(horizon.azimuth_deg, "REAL", "clockwise from true north", "deg"),
            "elevation_deg": Column(np.round(horizon.top_deg, 4), "REAL", "of everything", "deg"),
            "ground_elevation_deg": Column(np.round(ground, 4), "REAL", "of the bare ground", "deg"),
            "distance_m": Column(np.round(distance, 2), "REAL", "of what is highest", "m"),
            "standing_m": Column(np.round(tall, 3), "REAL", "its height above its own ground", "m"),
            "what": Column(list(horizon.what) or [None] * count, "TEXT", "what it is"),
        }
    )


def light_table(light: Light, transmission: float) -> Table:
    """One row a month and one for the crop months: light here and in the open, daily light integral under the cover
    against what crops want.

    Arguments: light; transmission of the cover with frame and dirt, 0..1.
    """
    sums = [*light.months, light.crop_months]
    outside = [daily_light_integral(s.mean_daily_mj) for s in sums]
    inside = [value * transmission for value in outside]
    columns = {
        "period": Column(
            [MONTHS[k].capitalize() if k < 12 else s.period for k, s in enumerate(sums)],
            "TEXT",
            "month, or the crop months",
        ),
        "beam_kwh_m2": Column([round(s.beam_kwh, 4) for s in sums], "REAL", "beam on a level plane", "kWh/m2"),
        "diffuse_kwh_m2": Column([round(s.diffuse_kwh, 4) for s in sums], "REAL", "diffuse on a level plane", "kWh/m2"),
        "total_kwh_m2": Column([round(s.total_kwh, 4) for s in sums], "REAL", "both", "kWh/m2"),
        "open_total_kwh_m2": Column(
            [round(s.open_beam_kwh + s.open_diffuse_kwh, 4) for s in sums],
            "REAL",
            "both, with a level horizon",
            "kWh/m2",
        ),
        "beam_share": Column([_share(s.beam_share) for s in sums], "REAL", "beam here / with a level horizon", "1"),
        "total_share": Column([_share(s.total_share) for s in sums], "REAL", "light here / with a level horizon", "1"),
        "not_assessed": Column([s.reason or None for s in sums], "TEXT", "why a share is missing"),
        "dli_outside_mol": Column(
            [round(value, 3) for value in outside], "REAL", "daily light integral outside", "mol m-2 d-1"
        ),
        "dli_inside_mol": Column(
            [round(value, 3) for value in inside], "REAL", f"under the cover (x {transmission:.3f})", "mol m-2 d-1"
        ),
    }
    for band in CROP_BANDS:
        name = "for_" + band.name.lower().replace(" ", "_")
        columns[name] = Column(
            [against_band(value, band) for value in inside],
            "TEXT",
            f"against {band.least} to {band.most}; {source_words(band.source)}",
        )
    return Table(columns)


def comparison_table(differences: tuple[HorizonDifference, ...]) -> Table:
    """One row a reading of the field horizon."""
    names = {"azimuth_deg": "from true north", "measured_deg": "measured", "computed_deg": "computed in that direction"}
    names["difference_deg"] = "measured less the nearest computed within 2 degrees"
    columns = {
        name: Column([round(getattr(d, name), 3) for d in differences], "REAL", title, "deg")
        for name, title in names.items()
    }
    columns["notable"] = Column(
        [d.notable for d in differences], "BOOLEAN", "beyond what compass and clinometer explain"
    )
    return Table(columns)
