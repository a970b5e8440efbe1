"""`sunchart`: the horizon, the sun's paths and the light at one point."""

from __future__ import annotations

import argparse
import datetime
from dataclasses import replace
from pathlib import Path
from typing import Any

from tunnelsite.core.errors import UsageError
from tunnelsite.core.units import MONTHS, number
from tunnelsite.hosts.cli.arguments import check_ending
from tunnelsite.hosts.cli.inputs_named import inputs_named
from tunnelsite.hosts.cli.options import project_values
from tunnelsite.hosts.cli.progress import Progress
from tunnelsite.hosts.cli.streams import answer

TABLES = ("hidden", "hours", "horizon", "light")


def sunchart(given: argparse.Namespace) -> int:
    """Draw the sun chart of a point (or of a candidate of a screening) and write what was asked for."""
    from tunnelsite.settings.model import crop_period, settings_from

    values = project_values(given)
    settings = settings_from(values)
    ask = _asked(given)
    progress = Progress(quiet=given.quiet)
    outputs = _outputs(given)
    lon, lat, title, ridge = _point(given)
    from tunnelsite.io.write.outputs import reserved_outputs
    from tunnelsite.report.ridge_advice import farm_advice

    with reserved_outputs(outputs, inputs_named(given, values), overwrite=bool(given.overwrite)):
        progress("reading", 0.0)
        site, seen = _seen(settings, lon, lat, settings.light_height_m)
        progress("horizon", 1.0)
        steps = _steps(site, seen.place)
        chart, light, differences = _chart(given, ask, (seen, steps), crop_period(settings.crop_months), title)
        _write(given, outputs, chart, light, differences, ask["transmission"])
        progress("writing", 1.0)
    summary = _summary(chart, light, differences, ask, outputs) | farm_advice(settings_from(values | ridge), lat, steps)
    answer(summary, _words, as_json=given.json)
    return 0


def _asked(given: argparse.Namespace) -> dict[str, Any]:
    """Options that need checking before anything is read. Errors: UsageError."""
    from tunnelsite.plans.sunchart.chart import DAYS, Clock
    from tunnelsite.sun.crops import default_transmission

    offset = None if given.utc_offset is None else number(given.utc_offset, "--utc-offset")
    clock = Clock(offset)
    days = DAYS
    if given.days:
        from tunnelsite.core.units import month_day

        days = tuple(month_day(text, "--days") for text in given.days.split(","))
    transmission, source = default_transmission()
    if given.cover_transmission is not None:
        transmission = number(given.cover_transmission, "--cover-transmission")
        source = "given"
        if not 0 < transmission <= 1:
            raise UsageError(
                f"--cover-transmission is {given.cover_transmission}", "more than 0 and up to 1", "correct it"
            )
    if given.field_horizon is None and any((given.north, given.declination, given.date)):
        raise UsageError(
            "--north, --declination or --date without --field-horizon", "both together", "name the field horizon"
        )
    if given.field_horizon is not None and given.north is None:
        raise UsageError(
            "--field-horizon without --north", "--north true or --north magnetic", "say what the compass was set to"
        )
    declination = None if given.declination is None else number(given.declination, "--declination")
    if declination is not None and not -180 <= declination <= 180:
        raise UsageError(f"--declination is {declination:g}", "-180 to 180 degrees, east positive", "correct it")
    if given.png is not None:
        from tunnelsite.drawing.png import require_png

        require_png()
    return {"clock": clock, "days": days, "transmission": transmission, "cover": source, "date": _date(given)}


def _date(given: argparse.Namespace) -> datetime.date | None:
    """The day of the compass readings. Errors: UsageError where it is needed, idle or no day."""
    if given.north == "magnetic" and (given.declination is None) == (given.date is None):
        raise UsageError(
            "--north magnetic with neither or both of --declination and --date",
            "the declination, or the day of the readings, from which the World Magnetic Model gives it",
            "give one of them",
        )
    if given.date is None:
        return None
    if given.north != "magnetic":
        raise UsageError("--date without --north magnetic", "both together", "the day only serves the declination")
    from tunnelsite.plans.stakeout.bearings import check_day

    try:
        day = datetime.date.fromisoformat(given.date)
    except ValueError:
        raise UsageError(f"--date is {given.date!r}", "a day as 2027-03-15", "write it like that") from None
    check_day(day)
    return day


def _outputs(given: argparse.Namespace) -> dict[str, Path]:
    found = {"svg": Path(given.out)}
    check_ending("--out", found["svg"], ".svg")
    if given.png is not None:
        found["png"] = Path(given.png)
    if given.csv is not None:
        stem = Path(given.csv)
        stem = stem.with_suffix("") if stem.suffix.lower() == ".csv" else stem
        names = [*TABLES, *(["field"] if given.field_horizon is not None else [])]
        found |= {name: stem.with_name(f"{stem.name}-{name}.csv") for name in names}
    return found


def _point(given: argparse.Namespace) -> tuple[float, float, str, dict[str, Any]]:
    """(lon, lat, title, house and bearing as settings) of `--at` or of a candidate's centre. Errors: UsageError."""
    if (given.at is None) == (given.rank is None):
        raise UsageError(
            "neither or both of --at and --rank were given",
            "a point LON LAT or the rank of a candidate",
            "give one of them",
        )
    if given.at is not None:
        lon, lat = (number(part, "--at") for part in given.at)
        if not (-180 <= lon <= 180 and -90 < lat < 90):
            raise UsageError(
                f"--at is {lon:g} {lat:g}", "longitude -180 to 180, latitude -90 to 90", "longitude comes first"
            )
        return lon, lat, given.title or f"Point {lon:.5f}, {lat:.5f}", {}
    if given.sites is None:
        raise UsageError("--rank without --sites", "the GeoPackage of a screening", "name it with --sites sites.gpkg")
    from tunnelsite.io.read.sites_file import candidate_row

    row, _ = candidate_row(given.sites, given.rank, ("rank", "parcel", "house", "lon", "lat"))
    ridge: dict[str, Any] = {"house": [str(row["house"])]}  # one of the sizes and bearings that competed
    if given.bearing is None and row.get("bearing_deg") is not None:
        ridge["bearing"] = float(row["bearing_deg"])
    title = given.title or f"Candidate {given.rank}, {row['parcel']}, {row['house']}"
    return float(row["lon"]), float(row["lat"]), title, ridge


def _seen(settings, lon: float, lat: float, eye_m: float):
    """The site, and what is seen from the point."""
    from tunnelsite.io.read.site import inputs_unchanged, site_from
    from tunnelsite.plans.sunchart.site_horizon import Surroundings, horizon_at
    from tunnelsite.scan.localise import frame_grid, localised
    from tunnelsite.scan.surface import add_surface
    from tunnelsite.screening.crop_sun import bare_months

    site = site_from(settings)
    frame = localised(site, frame_grid(site, bearing_deg=90.0, cell_m=settings.cell_m, halo_m=settings.halo_m))
    add_surface(frame, settings.bare_transmission)
    around = Surroundings(bare_months(settings, frame.lat_deg), site.far_dem, settings.far_reach_m)
    seen = horizon_at(frame, lon, lat, eye_m, around)
    inputs_unchanged(site)
    kinds = [what for what, there in (("surface", site.surface), ("obstacles", site.obstacles)) if there is not None]
    shade = f"shade from the ground{''.join(f' and the {kind}' for kind in kinds)}, as far as the data reach"
    notes = [*seen.notes, shade if kinds else shade + ": trees and buildings are not in it"]
    if seen.surface.foliage is not None:
        notes.append(
            "crowns that pass light count by what they pass in the light, and as hiding the sun in the hours; the space under "
            "a crown_base_m is open, trunks are left out"
        )
    return site, replace(seen, notes=tuple(notes))


def _steps(site, place):
    from tunnelsite.sun.irradiance import clear_sky_steps, weather_steps

    return clear_sky_steps(place) if site.weather is None else weather_steps(site.weather, place)


def _chart(given, ask, seen_and_steps, crop_days, title):
    from tunnelsite.plans.sunchart.chart import Details, sun_chart
    from tunnelsite.sun.field_comparison import horizon_differences
    from tunnelsite.sun.received import light_received

    seen, steps = seen_and_steps
    horizon, notes, differences = seen.surface, seen.notes, ()
    ground = None if given.field_horizon is not None and given.use_field else seen.ground
    if given.field_horizon is not None:
        from tunnelsite.io.read.field_horizon import read_field_horizon

        declination, words = _declination(given, ask, seen.place)
        field = read_field_horizon(given.field_horizon, north=given.north, declination_deg=declination)
        notes = (*notes, *words)
        differences = horizon_differences(field.horizon, seen.surface)
        notes = (*notes, *(f"field horizon {field.name}: {note}" for note in field.notes))
        if given.use_field:
            horizon = field.horizon
            notes = (*notes, f"the horizon of this chart is the one measured in the field ({field.name})")
    light = light_received(horizon, steps, crop_days)
    details = Details(title, ground, seen.eye_m, ask["days"], light, (*notes, *light.notes))
    chart = sun_chart(horizon, seen.place, ask["clock"], crop_days, details)
    return chart, light, differences


def _declination(given, ask, place) -> tuple[float | None, tuple[str, ...]]:
    """The declination of the compass, as given or from the magnetic model for the day, and words about it."""
    if given.declination is not None:
        return number(given.declination, "--declination"), ()
    if ask["date"] is None:
        return None, ()
    from tunnelsite.plans.stakeout.bearings import declination

    found = declination(place.lon_deg, place.lat_deg, place.altitude_m, ask["date"])
    return found.declination_deg, tuple(filter(None, (f"declination {found.words}", found.note)))


def _write(given, outputs, chart, light, differences, transmission) -> None:
    from tunnelsite.io.formats.csv_table import write_csv
    from tunnelsite.io.write.staging import write_whole
    from tunnelsite.plans.sunchart import tables
    from tunnelsite.plans.sunchart.picture import sun_chart_svg

    overwrite = bool(given.overwrite)
    svg = sun_chart_svg(chart)
    if "png" in outputs:
        from tunnelsite.drawing.png import png_of

        write_whole(outputs["png"], png_of(svg), overwrite=overwrite)
    write_whole(outputs["svg"], svg, overwrite=overwrite)
    makers = {
        "hidden": lambda: tables.hidden_table(chart),
        "hours": lambda: tables.hours_table(chart),
        "horizon": lambda: tables.horizon_table(chart),
        "light": lambda: tables.light_table(light, transmission),
        "field": lambda: tables.comparison_table(differences),
    }
    for name, make in makers.items():
        if name in outputs:
            write_csv(outputs[name], make(), overwrite=overwrite)


def _summary(chart, light, differences, ask, outputs) -> dict[str, Any]:
    from tunnelsite.plans.sunchart.words import lost_words
    from tunnelsite.sun.day_length import short_days
    from tunnelsite.sun.received import midwinter_noon_clear

    noon, reason = midwinter_noon_clear(chart.horizon, chart.place)
    short = short_days(chart.place)
    return {
        "title": chart.title,
        "lon": chart.place.lon_deg,
        "lat": chart.place.lat_deg,
        "outputs": {name: str(path) for name, path in outputs.items()},
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
        "cover": {"transmission": round(ask["transmission"], 4), "source": ask["cover"]},
        "hidden_by": [
            {"number": b.number, "what": b.what, "distance_m": b.distance_m, "standing_m": b.standing_m}
            for b in chart.blockers
        ],
        "field_differences": [vars(d) for d in differences if d.notable],
        "notes": list(chart.notes),
    }


def _words(summary: dict[str, Any]) -> str:
    from tunnelsite.report.ridge_advice import season_words

    share = summary["crop_total_share"]
    lines = [f"{summary['title']} ({summary['lon']:.6f}, {summary['lat']:.6f})"]
    light = "not assessed" if share is None else f"{share:.1%} of an open site's"
    lines.append(f"light of the crop months ({summary['crop_months']}): {light}")
    lines += [f"with crops in it, it {summary['loses']}"] if summary["loses"] else []
    for day in summary["days"]:
        lines.append(
            f"  {day['day']:>2} {MONTHS[day['month'] - 1].capitalize()}: {day['clear_h']:5.2f} of {day['possible_h']:5.2f} h of sun clear"
        )
    lines += season_words(summary["ridge_bearing"])
    for item in summary["field_differences"]:
        lines.append(
            f"field horizon at {item['azimuth_deg']:.0f} deg: measured {item['measured_deg']:.1f}, computed {item['computed_deg']:.1f}"
        )
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"written: {path}" for path in summary["outputs"].values()]
    return "\n".join(lines)
