"""The sun chart as numbers and as a picture: every hidden minute accounted for, names escaped, no surprise anywhere on earth."""

import csv
import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from tests.sun.horizons import flat_horizon
from tunnelsite.core.errors import UsageError
from tunnelsite.core.horizon import Horizon
from tunnelsite.drawing.svg import Drawing, clean, number
from tunnelsite.io.formats.csv_table import write_csv
from tunnelsite.plans.sunchart import tables
from tunnelsite.plans.sunchart.chart import Clock, Details, clock_words, horizon_chart
from tunnelsite.plans.sunchart.picture import sun_chart_svg
from tunnelsite.plans.sunchart.words import blocker_words, lost_words, subtitle
from tunnelsite.sun.irradiance import clear_sky_steps
from tunnelsite.sun.position import Observer, day_of_year, solar_noon_s
from tunnelsite.sun.received import light_received

CROP = ((10, 1), (4, 30))
FARM = Observer(43.0, -78.0, 200.0)
AZIMUTHS = np.arange(0, 360, 0.5)
SVG = "{http://www.w3.org/2000/svg}"


def _row_of_trees(name: str = "tree row", place: Observer = FARM) -> Horizon:
    """15 m tall, 30 m to the south, 200 m long; 9 m barn to the east; ground 2 deg all round."""
    elevation, distance, standing = np.full(720, 2.0), np.full(720, 500.0), np.zeros(720)
    what = np.array(["ground"] * 720, object)
    facing = np.abs(AZIMUTHS - 180) < 73
    elevation[facing] = np.degrees(np.arctan(14 / (30 / np.cos(np.radians(AZIMUTHS[facing] - 180)))))
    distance[facing] = 30 / np.cos(np.radians(AZIMUTHS[facing] - 180))
    standing[facing], what[facing] = 15.0, name
    barn = np.abs(AZIMUTHS - 80) < 15
    elevation[barn], distance[barn], standing[barn], what[barn] = 20.0, 25.0, 9.0, "barn"
    return Horizon(AZIMUTHS, elevation, distance, standing, tuple(what))


@pytest.fixture(scope="module")
def chart():
    horizon = _row_of_trees()
    light = light_received(horizon, clear_sky_steps(FARM, 30), CROP)
    ground = Horizon(AZIMUTHS, np.full(720, 2.0))
    return horizon_chart(
        horizon,
        FARM,
        Clock(-5),
        CROP,
        Details(title="Field 7", ground=ground, eye_m=1.0, light=light, notes=("a note",)),
    )


def test_every_hidden_minute_is_in_one_stretch(chart):
    for day in chart.days:
        own = [s for s in chart.stretches if (s.month, s.day) == (day.month, day.day)]
        assert sum(s.end_min - s.start_min for s in own) == pytest.approx(60 * (day.possible_h - day.clear_h), abs=1e-6)
        inside = np.zeros(len(day.minutes), int)
        for s in own:
            inside += (day.minutes > s.start_min) & (day.minutes < s.end_min)
        assert np.array_equal(inside, (~day.clear).astype(int))


def test_stretches_name_what_is_there(chart):
    names = {blocker.number: blocker for blocker in chart.blockers}
    noon = [s for s in chart.stretches if (s.month, s.day) == (12, 21) and s.from_deg < 180 < s.to_deg]
    assert len(noon) == 1 and names[noon[0].blocker].what == "tree row"
    trees = next(blocker for blocker in chart.blockers if blocker.what == "tree row")
    assert trees.distance_m == pytest.approx(30.0) and trees.standing_m == 15.0 and trees.kind == "standing"
    assert trees.top_deg == pytest.approx(np.degrees(np.arctan(14 / 30))) and trees.top_azimuth_deg == 180.0
    barn = next(blocker for blocker in chart.blockers if blocker.what == "barn")
    assert barn.distance_m == 25.0 and barn.minutes == sum(
        round(s.end_min - s.start_min) for s in chart.stretches if s.blocker == barn.number
    )
    assert sum(b.minutes for b in chart.blockers) == sum(int((~day.clear).sum()) for day in chart.days)


def test_blockers_are_numbered_from_north_the_small_ones_last(chart):
    assert [b.number for b in chart.blockers] == list(range(1, len(chart.blockers) + 1))
    major = [b.from_deg for b in chart.blockers if not b.minor]
    assert major == sorted(major)
    assert [b.minor for b in chart.blockers] == sorted(b.minor for b in chart.blockers)


def test_lost_hours_are_told_in_words(chart):
    """A wall to the south-west: the afternoon of the shortest day, from the very minute at which the sun goes behind it."""
    elevation = np.where((AZIMUTHS > 215) & (AZIMUTHS < 300), 40.0, 0.0)
    walled = horizon_chart(Horizon(AZIMUTHS, elevation), FARM, Clock(), CROP)
    december = next(day for day in walled.days if day.month == 12)
    last = december.minutes[december.clear][-1]
    lost = max(
        (day for day in walled.days if walled.in_crop(day.month, day.day)), key=lambda day: day.possible_h - day.clear_h
    )
    assert lost_words(walled) == (
        f"loses {lost.possible_h - lost.clear_h:.1f} of {lost.possible_h:.1f} h on {lost.name}, after {clock_words(lost.minutes[lost.clear][-1])}"
    )
    assert 14 * 60 < last < 14.7 * 60 and " to " not in lost_words(walled)
    tree = np.where((AZIMUTHS > 140) & (AZIMUTHS < 150), 40.0, 0.0)  # a gap at mid-morning is told by its clock times
    gap = horizon_chart(Horizon(AZIMUTHS, tree), FARM, Clock(), CROP)
    assert re.search(r", 0?9:\d\d to (0?9|10):\d\d$", lost_words(gap)), lost_words(gap)
    both = np.minimum(np.maximum(tree, elevation), 22.0)  # so low that the shortest day still loses most
    words = lost_words(horizon_chart(Horizon(AZIMUTHS, both), FARM, Clock(), CROP))
    assert re.search(r", 0?9:\d\d to (0?9|10):\d\d and after 1[34]:\d\d$", words), words
    assert lost_words(horizon_chart(flat_horizon(), FARM, Clock(), CROP)) == ""
    assert lost_words(horizon_chart(Horizon(AZIMUTHS, np.full(720, 80.0)), FARM, Clock(), CROP)).endswith(
        ("Apr", "Mar", "Oct")
    )
    assert lost_words(chart).startswith("loses ")


def test_clocks():
    solar = horizon_chart(flat_horizon(), FARM, Clock(None), CROP)
    for day in solar.days:  # the sun is on the meridian at 12 whatever the equation of time
        assert day.minutes[np.argmin(np.abs(day.azimuth_deg - 180))] == pytest.approx(720, abs=0.6)
        assert day.minutes[0] + day.minutes[-1] == pytest.approx(1440, abs=2.5)
    clock = horizon_chart(flat_horizon(), FARM, Clock(-5), CROP)
    for day in clock.days:
        noon = solar_noon_s(day_of_year(day.month, day.day), FARM)[0]
        told = (noon - 5 * 3600) % 86_400 / 60
        assert day.minutes[np.argmin(np.abs(day.azimuth_deg - 180))] == pytest.approx(told, abs=0.6)
    assert clock_words(425.2) == "07:05" and clock_words(-10) == "23:50" and clock_words(1439.9) == "00:00"
    with pytest.raises(UsageError, match="-15 to 15"):
        Clock(-78.0)
    with pytest.raises(UsageError, match="2-30"):
        horizon_chart(flat_horizon(), FARM, Clock(None), CROP, Details(days=((2, 30),)))


def test_an_open_plain_loses_nothing():
    found = horizon_chart(flat_horizon(), FARM, Clock(None), CROP)
    assert found.stretches == () and found.blockers == ()
    assert all(day.clear_h == day.possible_h for day in found.days)
    assert "nothing on these days" in sun_chart_svg(found)


def test_morning_and_evening_of_an_unnamed_ridge_are_two_things():
    found = horizon_chart(Horizon(np.arange(0, 360, 10.0), np.full(36, 8.0)), FARM, Clock(None), CROP)
    assert len(found.blockers) == 2
    assert found.blockers[0].to_deg < 180 < found.blockers[1].from_deg
    assert found.blockers[0].distance_m is None and found.blockers[0].kind == ""


def _texts(svg: str) -> list[str]:
    return [element.text or "" for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def test_picture_is_accessible_svg(chart):
    svg = sun_chart_svg(chart)
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img" and root.get("aria-labelledby") == "title desc"
    assert root.find(f"{SVG}title").text == "Sun chart: Field 7"
    described = root.find(f"{SVG}desc").text
    assert "21 Dec" in described and "tree row" in described and "30 m" in described
    words = _texts(svg)
    for expected in ("Field 7", "21 Dec", "When the sun is hidden", "tree row", "S", "180°", "Note: a note"):
        assert expected in words
    assert "nan" not in svg.lower().replace("unnamed", "") and "inf" not in "".join(
        p.get("d", "") for p in root.iter(f"{SVG}path")
    )
    assert len(svg) < 200_000
    width, height = (float(value) for value in root.get("viewBox").split()[2:])
    for element in root.iter(f"{SVG}text"):
        assert -5 <= float(element.get("x")) <= width and 0 <= float(element.get("y")) <= height


def test_hostile_names_stay_text(chart, tmp_path):
    name = "</text><script>alert(1)</script>&\x00\x0b\"'\ud800"
    hostile = horizon_chart(_row_of_trees(name), FARM, Clock(None), CROP, Details(title=name, notes=(name,)))
    svg = sun_chart_svg(hostile)
    root = ElementTree.fromstring(svg.encode("utf-8"))
    assert not list(root.iter(f"{SVG}script")) and "<script" not in svg
    formula = horizon_chart(_row_of_trees("=cmd|' /C calc'!A0"), FARM, Clock(None), CROP)
    write_csv(tmp_path / "hidden.csv", tables.hidden_table(formula), overwrite=False)
    with open(tmp_path / "hidden.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert any(row["what"].startswith("'=cmd") for row in rows)
    assert not any(value.startswith(("=", "@", "+")) for row in rows for value in row.values())


@pytest.mark.parametrize(
    ("lat", "offset"),
    [
        *((lat, None) for lat in (-90.0, -67.0, -10.0, 5.0, 43.0, 66.6)),
        *((lat, 12.0) for lat in (-90.0, -38.0, 0.0, 23.44, 72.0, 89.9)),
    ],
)
def test_pictures_everywhere(lat, offset):
    place = Observer(lat, 170.0, 10.0)
    rolling = Horizon(np.arange(0, 360, 10.0), 6 + 5 * np.sin(np.radians(np.arange(0, 360, 10.0) * 3)))
    light = light_received(rolling, clear_sky_steps(place, 120), CROP)
    found = horizon_chart(rolling, place, Clock(offset), CROP, Details(light=light))
    root = ElementTree.fromstring(sun_chart_svg(found))
    assert sum(1 for _ in root.iter(f"{SVG}path")) > 3
    words = "".join(element.text or "" for element in root.iter(f"{SVG}text"))
    assert ("the sun does not rise" in words) == any(not len(day.minutes) for day in found.days)


def test_polar_night_alone():
    found = horizon_chart(flat_horizon(), Observer(80, 20), Clock(1), CROP, Details(days=((12, 21), (1, 10))))
    assert "On all of these days the sun does not rise." in _texts(sun_chart_svg(found))


def test_tables(chart, tmp_path):
    hours = tables.hours_table(chart)
    assert hours.columns["clear_h"].values[11] == pytest.approx(chart.days[11].clear_h, abs=1e-3)
    assert len(tables.horizon_table(chart)) == 720
    light = tables.light_table(chart.light, 0.7)
    assert len(light) == 13 and light.columns["period"].values[12] == "10-01:04-30"
    assert light.columns["dli_inside_mol"].values[0] == pytest.approx(
        0.7 * light.columns["dli_outside_mol"].values[0], abs=1e-3
    )
    for make in (tables.hidden_table, tables.hours_table, tables.horizon_table):
        write_csv(tmp_path / f"{make.__name__}.csv", make(chart), overwrite=False)
    bare = horizon_chart(flat_horizon(), FARM, Clock(None), CROP)
    for make in (tables.hidden_table, tables.hours_table, tables.horizon_table):
        write_csv(tmp_path / f"{make.__name__}.csv", make(bare), overwrite=True)


def test_writer():
    drawing = Drawing(10, 20.5, "a<b", "c&d")
    drawing.words(1, 2.345678, "x<y", stroke_width=0.1)
    drawing.path([(0.0, 0.0)])
    drawing.ring([(0.0, 0.0), (1.234, 5.0)])
    root = ElementTree.fromstring(drawing.text)
    assert root.get("viewBox") == "0 0 10 20.5"
    assert root.find(f"{SVG}text").get("y") == "2.35" and root.find(f"{SVG}text").text == "x<y"
    assert [path.get("d") for path in root.iter(f"{SVG}path")] == ["M0 0L1.23 5Z"]
    assert clean("a\x00b\ufffe") == "a\ufffdb\ufffd"
    with pytest.raises(ValueError, match="picture"):
        number(float("nan"))


@pytest.mark.parametrize(
    ("hours", "words"), [(-5.0, "UTC-05:00"), (5.5, "UTC+05:30"), (12.75, "UTC+12:45"), (0.0, "UTC+00:00")]
)
def test_a_clock_says_how_far_it_is_ahead_of_utc(hours: float, words: str) -> None:
    assert words in Clock(hours).words


@pytest.mark.parametrize(
    ("crop", "inside", "outside"),
    [
        (((3, 10), (6, 20)), [(3, 10), (4, 1), (6, 20)], [(3, 9), (6, 21), (12, 31), (1, 1)]),
        (((10, 1), (4, 30)), [(10, 1), (12, 31), (1, 1), (4, 30)], [(9, 30), (5, 1), (7, 15)]),
    ],
)
def test_crop_months_hold_their_first_and_last_day_and_may_wrap_the_year(crop, inside, outside) -> None:
    chart = horizon_chart(flat_horizon(), FARM, Clock(), crop)
    assert all(chart.in_crop(*day) for day in inside) and not any(chart.in_crop(*day) for day in outside)


@pytest.mark.parametrize("lon_deg", [-78.15, -71.3, 12.4, 151.2])
def test_solar_times_can_be_read_on_a_clock(lon_deg: float) -> None:
    """Noon by the clock = 12 h + 4 min a degree west of its meridian - equation of time (Spencer 1971, by pvlib)."""
    from pvlib.solarposition import equation_of_time_spencer71

    place, zone = Observer(43.0, lon_deg, 100.0), round(lon_deg / 15)
    chart = horizon_chart(flat_horizon(), place, Clock(), CROP)
    words = subtitle(chart)[1].partition("is ")[2]
    hour, minute = map(int, words[:5].split(":"))
    wanted = 720 + 4 * (15 * zone - lon_deg) - float(equation_of_time_spencer71(355))
    assert abs(60 * hour + minute - wanted) < 1.5
    assert f"UTC{zone:+03d}:00" in words and "21 Dec" in subtitle(chart)[1]


def test_who_works_in_feet_sees_feet_first_and_who_works_in_metres_metres(chart) -> None:
    trees = next(one for one in chart.blockers if one.what == "tree row")
    assert blocker_words(trees, feet=True)[2] == "98 ft (30 m) away, 49 ft (15 m) tall"
    assert blocker_words(trees, feet=False)[2] == "30 m (98 ft) away, 15 m (49 ft) tall"
