"""The house in the hand says what the screening says, at any place and bearing."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from tests.desk.fields import FARM, field_project, screened_field
from tests.whole_run.files import plain_farm
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Features
from tunnelsite.core.placement import Placement
from tunnelsite.desk.answer import Told, answer_of
from tunnelsite.desk.bench import Bench
from tunnelsite.desk.hand import InHand
from tunnelsite.desk.hand_measures import measured, with_surroundings
from tunnelsite.desk.images import MapImages
from tunnelsite.desk.land import with_features
from tunnelsite.desk.map_drawing import MapDrawing
from tunnelsite.desk.measures import Units
from tunnelsite.desk.packet import phone_page
from tunnelsite.desk.pins_compared import pins_compared
from tunnelsite.desk.project import Project
from tunnelsite.desk.spot import Spots
from tunnelsite.desk.tap import tapped
from tunnelsite.io.read.site import site_from
from tunnelsite.report.plain_words import plain_flags
from tunnelsite.screening.may_be import may_be_words
from tunnelsite.screening.surroundings import SURROUNDINGS_COLUMNS, surroundings

SAME = (
    "pitch_along_pct",
    "pitch_across_pct",
    "cut_m3",
    "fill_m3",
    "max_cut_m",
    "upslope_m2",
    "beam_share_worst",
    "score_here",
)


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory):
    project = field_project(tmp_path_factory.mktemp("farm"))
    result = screened_field(project)
    return project, result, InHand(result, Units(True))


def test_options_are_measured_as_the_screening_measured_them(farm) -> None:
    _, result, in_hand = farm
    for row in result.rows:
        house = result.scans[0].house
        found = measured(result, in_hand.spots, (row["lon"], row["lat"], 90.0), house)
        assert found.steady == pytest.approx(row["score"], abs=1e-3)
        for name in SAME:
            wanted, got = row[name], found.row[name]
            assert (wanted is None and got is None) or got == pytest.approx(wanted, rel=1e-4, abs=1e-6), name


def test_the_hand_is_told_what_not_to_miss(farm) -> None:
    """As the report says it: a house on what may be a river's bed keeps every rule, and only a flag warns of it."""
    _, result, in_hand = farm
    row = result.rows[0]
    told = in_hand.message(row["lon"], row["lat"], 90.0, result.scans[0].house.name)
    assert row["flags"] and told["flags"] == plain_flags(row["flags"]).split("; ")


def test_the_hand_is_told_of_a_river_as_the_screening_is(tmp_path) -> None:
    """A river 130 m wide at the end of the data, its bank 4 m high: the piece round a house in it shows no bank. It breaks a rule, or
    where such ground is allowed has a flag."""
    row, _ = np.mgrid[0:200, 0:160]
    ground = np.where(row < 130, 125.0, 129.0 + 0.01 * row) + np.random.default_rng(3).normal(0, 0.02, row.shape)
    plain_farm(tmp_path, ground.astype(np.float32))
    asked = FARM.replace("top = 3", "top = 99")
    (tmp_path / "farm.toml").write_text(f"{asked}keep_water_like = true\n", "utf-8")
    kept = screened_field(Project(tmp_path))
    wet = [row for row in kept.rows if "river's bed" in row["flags"]]
    assert min(row["lat"] for row in wet) + 60 / 111_000 < max(row["lat"] for row in wet), "some far from the bank"
    some = sorted(kept.rows, key=lambda row: row["lat"])[::6]
    assert 0 < sum(row in wet for row in some) < len(some)
    (tmp_path / "farm.toml").write_text(asked, "utf-8")
    result = screened_field(Project(tmp_path))
    assert not any("river's bed" in row["flags"] for row in result.rows)
    for row in some:
        told, refused = (
            InHand(one, Units(True)).message(row["lon"], row["lat"], 90.0, "20x48ft") for one in (kept, result)
        )
        assert any("river's bed" in text for text in told["flags"]) == (row in wet)
        assert any(one["rule"] == "river_bed" and one["state"] == "broken" for one in refused["rules"]) == (row in wet)
    headlines = [answer_of(one, Told("run", 1.0, first_look=True), Units(True))["headline"] for one in (kept, result)]
    assert headlines[0][1:] == may_be_words(kept.rows) and "river's bed" in headlines[0][1]
    assert "Not offered" in headlines[1][1] and "“Water-like ground allowed” under" in headlines[1][1]


def test_house_that_keeps_every_rule_is_measured_before_any_search(farm) -> None:
    """Its room to shift is asked of placements that no search has made yet."""
    project, result, _ = farm
    row, bench = result.rows[0], Bench()
    assert bench.look(str(project.folder))["more"]
    bench.look_more(str(project.folder))
    told = bench.hand(row["lon"], row["lat"], 90.0, "20x48ft")
    assert told["score"]["words"] == "no score yet: find places first" and told["room_m"] is None
    assert not [rule for rule in told["rules"] if rule["state"] == "broken"] and told["earth"]


def test_tap_before_any_search_offers_to_put_the_house_there(farm) -> None:
    """The strip invites to click a place and put the house there; that was answered by `find places first`."""
    project, result, _ = farm
    row, bench = result.rows[0], Bench()
    bench.look(str(project.folder))
    bench.look_more(str(project.folder))
    told = bench.tap(row["lon"], row["lat"])
    assert told["state"] == "not searched" and told["words"] and not told["reasons"]
    assert told["place"] == {"lon": row["lon"], "lat": row["lat"], "bearing_deg": 90.0, "house": "20x48ft"}


def test_what_needs_an_exact_answer_says_so_before_there_is_one(farm) -> None:
    """While a first look with twenty options stood on the map it said that no places were looked for yet."""
    bench = Bench()
    for ask in (lambda: bench.compare([]), lambda: bench.phone({}), lambda: bench.whatif("", {})):
        with pytest.raises(
            UsageError,
            match=r"no search has ended since the desk was opened.*wait until the kept answer is measured again",
        ):
            ask()


def test_broken_limit_tells_its_measure_once(farm) -> None:
    _, result, _ = farm
    judge = next(one for one in result.judges if one.id == "deepest_cut")
    strict = replace(judge, rubric=replace(judge.rubric, full_at=-3.0, none_at=-2.0, limit=-1.0))  # nothing keeps it
    other = InHand(replace(result, judges=[strict if one is judge else one for one in result.judges]), Units(True))
    row = result.rows[0]
    told = other.message(row["lon"], row["lat"], 90.0, "20x48ft")["rules"]
    (rule,) = [one for one in told if one["rule"] == "deepest_cut"]
    assert rule["state"] == "broken" and "(limit " in rule["words"] and rule["change"] == ""


def test_nothing_is_said_to_stand_on_land_of_which_the_bare_ground_alone_is_known(farm) -> None:
    _, result, in_hand = farm
    frame, row = result.frame, result.rows[0]
    bare = MapImages(frame, feet=True)
    assert "standing_m" in frame.layers and not (frame.layers["standing_m"] > 0).any()
    assert "surface" not in [one["id"] for one in bare.described()]
    assert "Trees and buildings" not in [one["title"] for one in bare.values_at(row["lon"], row["lat"])]
    tree = frame.layers["standing_m"].copy()
    tree[0, 0] = 9.0
    wooded = MapImages(replace(frame, layers=frame.layers | {"standing_m": tree}), feet=True)
    assert "Trees and buildings" in [one["title"] for one in wooded.values_at(row["lon"], row["lat"])]
    (light,) = [
        one for one in in_hand.message(row["lon"], row["lat"], 90.0, "20x48ft")["criteria"] if one["id"] == "sun"
    ]
    assert light["words"].endswith("; not in it: shade of trees and buildings (only the bare ground was given)")


def test_half_a_turn_is_the_same_house(farm) -> None:
    _, result, in_hand = farm
    row = result.rows[0]
    here, turned = (in_hand.message(row["lon"], row["lat"], bearing, "20x48ft") for bearing in (75.0, 255.0))
    assert here["score"] == turned["score"] and here["earth"] == turned["earth"]


def test_quarter_turn_exchanges_the_two_pitches(farm) -> None:
    _, result, in_hand = farm
    row, house = result.rows[0], in_hand.house("40x40ft")
    along, across = (
        measured(result, in_hand.spots, (row["lon"], row["lat"], bearing), house).row for bearing in (90.0, 0.0)
    )
    assert abs(along["pitch_along_pct"]) == pytest.approx(abs(across["pitch_across_pct"]), abs=0.02)
    assert along["ground_m"] == pytest.approx(across["ground_m"], abs=0.005)


def test_outline_has_the_size_and_the_bearing_asked_for(farm) -> None:
    _, result, in_hand = farm
    row = result.rows[0]
    told = in_hand.message(row["lon"], row["lat"], 60.0, "20x48ft")
    (west, south), (east, north) = told["ridge"]["coordinates"]
    per_deg = 111_320 * math.cos(math.radians(row["lat"])), 111_132
    run = (east - west) * per_deg[0], (north - south) * per_deg[1]
    assert math.hypot(*run) == pytest.approx(48 * 0.3048, rel=5e-3)
    assert math.degrees(math.atan2(*run)) % 180 == pytest.approx(60.0, abs=0.5)


def test_broken_rules_are_told_and_light_has_twelve_months(farm) -> None:
    _, result, in_hand = farm
    grid = result.frame.grid
    lon, lat = grid.lonlat(grid.west_m + 4.0, grid.north_m - 4.0)  # at the corner of the data, over the parcel's edge
    told = in_hand.message(float(lon), float(lat), 90.0, "20x48ft")
    broken = {rule["rule"] for rule in told["rules"] if rule["state"] == "broken"}
    assert "boundary" in broken and told["score"]["steady"] is None
    row = result.rows[0]
    light = in_hand.message(row["lon"], row["lat"], 90.0, "20x48ft")["light"]
    assert [month["month"] for month in light["months"]] == list(range(1, 13))
    assert {month["month"] for month in light["months"] if month["crop"]} == {10, 11, 12, 1, 2, 3, 4}
    assert all(0 <= month["share"] <= 1 + 1e-9 for month in light["months"])


def test_place_off_the_data_is_refused_in_words(farm) -> None:
    with pytest.raises(UsageError):
        farm[2].message(0.0, 0.0, 90.0, "20x48ft")
    with pytest.raises(UsageError):
        farm[2].message(farm[1].rows[0]["lon"], farm[1].rows[0]["lat"], 90.0, "a barn")


def test_beyond_the_frame_no_layer_is_known(farm) -> None:
    """Codes of whole numbers too: none drains to the first cell's neighbour, none is darkest in its month."""
    _, result, in_hand = farm
    base = result.frame.grid
    lon, lat = (float(value) for value in base.lonlat(*base.centre(2, 3)))
    piece = in_hand.spots.piece(lon, lat, 75.0, 30.0)
    along, across = base.from_map(*piece.grid.to_map(*piece.grid.centre(*np.indices(piece.grid.shape))))
    west, south, east, north = base.bounds
    outside = (along < west) | (along > east) | (across < south) | (across > north)
    assert outside.any() and not outside.all()
    assert result.frame.no_data == {"flow_direction": 255, "worst_month": 255}
    for name, code in result.frame.no_data.items():
        assert (piece.layers[name][outside] == code).all() and (piece.layers[name][~outside] != code).any(), name
    for name in ("beam_share", "ponding_m"):
        assert np.isnan(piece.layers[name][outside]).all(), name


def test_barn_that_is_drawn_bars_the_hand_at_once(farm) -> None:
    project, result, in_hand = farm
    row, drawing = result.rows[0], MapDrawing(project)
    assert "structures" not in {
        rule["rule"] for rule in in_hand.message(row["lon"], row["lat"], 90.0, "20x48ft")["rules"]
    }
    side = 3e-5
    ring = [[row["lon"], row["lat"]], [row["lon"] + side, row["lat"]], [row["lon"] + side, row["lat"] + side]]
    drawing.put(
        "barn", {"geometry": {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}, "properties": {"what": "building"}}
    )
    site = site_from(project.settings())
    other = InHand(result, Units(True))
    other.spots = Spots(site, with_features(result.frame, site))
    rule = next(
        rule for rule in other.message(row["lon"], row["lat"], 90.0, "20x48ft")["rules"] if rule["rule"] == "structures"
    )
    assert rule["state"] == "broken" and "12 ft" in rule["words"]
    away = other.message(row["lon"] + 4e-4, row["lat"], 90.0, "20x48ft")["rules"]
    assert next(rule for rule in away if rule["rule"] == "structures")["state"] == "kept"


def test_tap_tells_options_from_second_best_and_from_what_is_not_offered(farm) -> None:
    _, result, in_hand = farm
    row = result.rows[0]
    assert tapped(in_hand, row["lon"], row["lat"])["state"] == "listed"
    scan, scored = result.scans[0], result.scored[0]
    worst = int(np.nanargmin(scored))
    lon, lat = scan.frame.grid.lonlat(*scan.centre(int(scan.index[worst])))
    found = tapped(in_hand, float(lon), float(lat))
    assert (
        found["state"] == "offered"
        and found["losses"]
        and found["score"] == pytest.approx(float(scored[worst]), abs=1e-3)
    )
    lost = sum(one["points"] for one in found["losses"])
    assert lost == pytest.approx(result.choices[0].score - found["score"], abs=0.3 * lost + 0.5)
    for one in found[
        "losses"
    ]:  # in the words of the cards: `Shelter from the wind costs 3.2 points (0.16)` told nothing
        assert re.fullmatch(r".+ costs \d+\.\d points: [a-zA-Z].{9,}\.", one["words"]), one["words"]
    assert tapped(in_hand, 0.0, 0.0)["state"] == "outside"


def test_pins_are_told_apart_by_their_letters(farm) -> None:
    _, result, in_hand = farm
    rows = result.rows[:2]
    pins = [
        {"letter": letter, "place": {"lon": row["lon"], "lat": row["lat"], "bearing_deg": 90.0, "house": "20x48ft"}}
        for letter, row in zip("AC", rows, strict=True)
    ]
    found = pins_compared(in_hand, pins)
    score = next(row for row in found["rows"] if row["id"] == "score")
    assert score["values"] == {letter: f"{row['score']:.1f}" for letter, row in zip("AC", rows, strict=True)}
    assert any("A" in words and "C" in words for words in found["words"]) and "rank" not in " ".join(found["words"])
    rooms = next(row for row in found["rows"] if row["id"] == "room_m")
    wanted = {letter: in_hand.units.away(row["room_m"]) for letter, row in zip("AC", rows, strict=True)}
    assert (
        rooms["values"] == wanted and len(set(wanted.values())) == 2
    )  # by the run, not by the few places round the pin
    for one in found["rows"]:  # `100 % (better)` beside `100 %` told nothing
        assert one["better"] is None or list(one["values"].values()).count(one["values"][one["better"]]) == 1


def test_pin_that_breaks_a_rule_is_no_better_than_one_that_keeps_them(farm) -> None:
    _, result, in_hand = farm
    row, scan = result.rows[0], result.scans[0]
    parcel = scan.frame.parcels[0]
    west, _, _, north = shapely.bounds(parcel)
    lon, lat = (
        float(value) for value in scan.frame.grid.lonlat(west + 4.0, north - 20.0)
    )  # the pad reaches over the edge
    places = ((row["lon"], row["lat"]), (lon, lat))
    pins = [
        {"letter": letter, "place": {"lon": at[0], "lat": at[1], "bearing_deg": 90.0, "house": row["house"]}}
        for letter, at in zip("AB", places, strict=True)
    ]
    found = pins_compared(in_hand, pins)
    score = next(one for one in found["rows"] if one["id"] == "score")
    assert score["values"] == {"A": f"{row['score']:.1f}", "B": "not offered"} and score["better"] is None
    [words] = found["words"]
    assert words.startswith("B is not offered. Rules that it breaks: edge of the parcel or setback")


def test_surroundings_are_those_of_the_run_and_the_same_for_a_house_turned_a_little(farm) -> None:
    """Water and road lie beyond the small piece of land on which a house in the hand is measured."""
    _, result, _ = farm
    frame, row = result.frame, result.rows[0]
    grid = frame.grid
    (west, north), (east, south) = grid.centre(5, 5), grid.centre(grid.rows - 6, grid.cols - 6)
    spots = {"water": shapely.Point(west, north), "road": shapely.Point(east, south)}
    services = {name: Features(np.array([spot]), {}, name=name) for name, spot in spots.items()}
    near = replace(frame, services=services)
    run = replace(result, scans=[replace(result.scans[0], frame=near)])
    wanted = surroundings(run, run.scans[0], np.array([result.choices[0].item]), np.array([row["ground_m"]]))[0]
    assert wanted["water_head_m"] is not None and wanted["way_in_pct"] is not None
    pieces = Spots(result.site, near)
    place, house = (row["lon"], row["lat"]), result.scans[0].house
    got = with_surroundings(run, pieces, measured(run, pieces, (*place, 90.0), house))
    for name in SURROUNDINGS_COLUMNS:
        assert got[name] == (
            wanted[name] if isinstance(wanted[name], str | None) else pytest.approx(wanted[name], abs=0.05)
        ), name
    turned = with_surroundings(run, pieces, measured(run, pieces, (*place, 91.0), house))
    assert turned["water_head_m"] == pytest.approx(wanted["water_head_m"], abs=0.05)
    assert turned["way_in_pct"] == pytest.approx(wanted["way_in_pct"], abs=0.3)


def test_sun_chart_is_of_the_place(farm) -> None:
    _, result, in_hand = farm
    row = result.rows[0]
    svg = in_hand.light.chart(Placement(row["lon"], row["lat"], 90.0, in_hand.house("20x48ft")))
    assert "<svg" in svg and f"{row['lat']:.5f} N" in svg and "21 Dec" in svg


def test_phone_page_is_that_of_the_stake_out_at_the_pin(farm) -> None:
    _, result, _ = farm
    row = result.rows[0]
    place = {"lon": row["lon"], "lat": row["lat"], "bearing_deg": 90.0, "house": row["house"]}
    page = phone_page(result.site, {"letter": "A", "name": "Bench", "place": place}, result)
    assert "Option A: Bench" in page and "Find a stake" in page and "default-src 'none'" in page
