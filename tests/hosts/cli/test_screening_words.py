"""The answer in words: the options first, what was not assessed second, notes once, reasons where nothing passes."""

from __future__ import annotations

import pytest

from tunnelsite.hosts.cli.screening_words import words_of
from tunnelsite.screening.run_table import notes_once

ROW = {
    "rank": 1, "score": 80.0, "assessed_pct": 61.2, "room_m": 6.0, "parcel": "Home", "house": "6x20m", "bearing_deg": 90.0, "lon": 1.0, "lat": 2.0,
    "pitch_along_pct": 0.1, "pitch_across_pct": -0.84, "pitch_se_pct": 0.2, "cut_m3": 3.0, "max_cut_m": 0.0508,
    "upslope_m2": 8093.7, "beam_share": None, "score_lowest": 72.0, "flags": "",
}  # fmt: skip
WHY = {
    "parcel": "Home", "house": "6x20m", "bearing_deg": 90.0, "rule": "deepest_cut", "tried": 9, "rejected": 4,
    "reason": "Deepest cut", "limit_value": 0.15, "nearest_miss": 0.24922, "unit": "m",
    "words": "deepest cut (limit 0.15 m, the nearest 0.2492 m)",
}  # fmt: skip
SUMMARY = {
    "placements_tried": 9, "placements_scored": 5, "seconds": 1.0, "notes": ["dem.tif: in metres"], "out": "s.gpkg", "feet": False,
    "shift_m": 3.0, "doubts": [], "apart_m": 20.0, "options_wanted": 1, "relax": [], "compromises": [], "rejections": [WHY],
    "not_assessed": {"assessed_pct": 61.2, "gaps": ["wind (no wind direction was given)"]}, "candidates": [ROW], "drawn": [""] * 20, "per_parcel": None,
 "undecided": ["Sun earns full marks at both options: it does not decide."],
    "verdict": {"sentence": "Its lead is firm."}, "parcels_left_out": [],
}  # fmt: skip


def test_options_come_first_then_what_was_not_assessed_then_notes() -> None:
    text = words_of(SUMMARY, False)
    places = [
        text.index(part) for part in ("1 place for", "1. Home", "Not assessed (61 % of", "- wind", "Next:", "note: dem")
    ]
    assert places == sorted(places) and "4 of 9 rejected" not in text
    assert "falls 0.8 % (give or take 0.2), cut at most 5 cm deep, 8,094 m² (2 acres) drain through the pad" in text
    assert "Moved up to 3.0 m it keeps at least 90 % of its score." in text


def test_what_the_data_may_not_be_comes_before_the_options() -> None:
    assert words_of(SUMMARY | {"doubts": ["dem.tif looks like a surface"]}, False).startswith("DOUBT: dem.tif looks")


def test_a_user_of_feet_reads_feet() -> None:
    text = words_of(SUMMARY | {"feet": True}, False)
    assert (
        "cut at most 2 in deep, 2 acres (8,094 m²) drain" in text and "Moved up to 10 ft" in text and "3.9 yd3" in text
    )


@pytest.mark.parametrize(
    ("cut_m", "feet", "words"),
    [
        (0.0, False, "no cut that the model can show"),
        (0.004, False, "no cut that the model can show"),
        (0.006, False, "cut at most 1 cm deep"),
        (0.012, True, "no cut that the model can show"),
        (0.013, True, "cut at most 1 in deep"),
    ],
)
def test_a_cut_that_rounds_to_nothing_is_not_called_zero(cut_m: float, feet: bool, words: str) -> None:
    """Half a centimetre and half an inch (0.0127 m) are where the shown unit rounds up."""
    text = words_of(SUMMARY | {"feet": feet, "candidates": [ROW | {"max_cut_m": cut_m}]}, False)
    assert f"(give or take 0.2), {words}, " in text


def test_what_the_model_cannot_show_has_no_number() -> None:
    unknown = dict.fromkeys(("pitch_along_pct", "pitch_across_pct", "pitch_se_pct", "cut_m3", "max_cut_m"))
    text = words_of(SUMMARY | {"candidates": [ROW | unknown]}, False)
    assert "cells are too wide to show how the ground lies" in text and "falls" not in text and "not known" in text


def test_a_limit_within_the_shift_is_said() -> None:
    text = words_of(SUMMARY | {"candidates": [ROW | {"score_lowest": 0.0}]}, False)
    assert "Moved up to 3.0 m it may break a limit." in text and "keeps" not in text


def test_small_room_is_said() -> None:
    text = words_of(SUMMARY | {"candidates": [ROW | {"room_m": 0.5}]}, False)
    assert "On one side it has room for 0.5 m only" in text


def test_the_darkest_month_is_named() -> None:
    text = words_of(
        SUMMARY | {"candidates": [ROW | {"beam_share": 0.97, "beam_share_worst": 0.81, "worst_month": 12}]}, False
    )
    assert "81 % of the sun in December, its darkest crop month" in text


@pytest.mark.parametrize(("bearing", "shown"), [(90.0075, False), (82.5, True)])
def test_ridges_are_told_apart_where_they_differ(bearing: float, shown: bool) -> None:
    text = words_of(SUMMARY | {"candidates": [ROW, ROW | {"bearing_deg": bearing}]}, False)
    assert ("ridge" in text.splitlines()[2]) is shown


def test_fewer_options_than_wanted_say_why() -> None:
    few = SUMMARY | {"options_wanted": 5}
    assert "1 of 5 options wanted: options stand 20.0 m apart (--apart), and what passes holds no more." in words_of(
        few, False
    )
    assert "(--apart), with 2 a parcel at most (--per-parcel), and" in words_of(few | {"per_parcel": 2}, False)


def test_reasons_tell_limit_and_nearest_miss() -> None:
    told = "  Home:\n    4 of 9 rejected: deepest cut (limit 0.15 m, the nearest 0.2492 m)\n"
    assert told in words_of(SUMMARY, True)
    other = WHY | {"house": "9x30m", "tried": 0, "rejected": 0, "words": "the parcel lies outside dem.tif"}
    none = words_of(SUMMARY | {"candidates": [], "rejections": [WHY, other] * 30}, False)
    assert none.startswith("No place passes every limit")
    assert (
        "  Home, 9x30m, ridge east-west:\n    the parcel lies outside dem.tif\n" in none and "deepest_cut" not in none
    )
    assert "and 20 more" in none and "--at LON LAT` shows every rule" in none


def test_little_that_passes_names_limits_to_relax_and_compromises() -> None:
    relax = {"title": "Deepest cut", "unit": "m", "limit_value": 0.15, "relaxed_to": 0.3, "more_placements": 772}
    relax |= {"more_options": 7}
    broken = {"parcel": "Home", "lat": 2.0, "lon": 1.0, "breaks": "deepest cut 0.19 m, above the limit of 0.15 m"}
    text = words_of(SUMMARY | {"placements_tried": 9000, "relax": [relax], "compromises": [broken]}, False)
    assert "Few pass: read on before you choose. Limits that rejected most: deepest cut (4)." in text
    assert "deepest cut up to 0.3 m, now 0.15 m: 772 more placements, 7 more options" in text
    assert "Home, lat 2.000000, lon 1.000000: deepest cut 0.19 m, above the limit" in text and "not recommended" in text


def test_a_note_on_every_bearing_stands_once() -> None:
    notes = [("dem.tif", "in metres"), ("bearing 90", "raised"), ("bearing 80", "raised"), ("bearing 80", "other")]
    assert notes_once([{"name": name, "value": value} for name, value in notes]) == [
        "dem.tif: in metres",
        "raised",
        "bearing 80: other",
    ]


def test_options_that_may_stand_on_a_river_are_named_though_no_sentence_tells_them() -> None:
    bed = "pitch uncertain; may be a river's bed, open water or flood plain: a bank 5 m high stands over it"
    rows = [ROW | {"rank": rank, "flags": bed if rank in (5, 7) else "pitch uncertain"} for rank in range(1, 8)]
    lines = words_of(SUMMARY | {"candidates": rows, "options_wanted": 7}, False).splitlines()
    assert "Options 5 and 7 may be a river's bed, open water or flood plain: look there before anything else." in lines
    assert not any("may be a river" in line for line in words_of(SUMMARY, False).splitlines())


@pytest.mark.parametrize("found", [SUMMARY["candidates"], []])
def test_what_is_not_offered_as_a_river_is_told_whether_anything_passes(found) -> None:
    rejected = {"parcel": "Low", "house": "30x96ft", "bearing_deg": 90.0, "rule": "river_bed", "reason": "May be a river's bed",
                "tried": 900, "rejected": 812, "limit_value": 0.5, "nearest_miss": 1.0, "unit": "1", "words": "may be a river's bed"}  # fmt: skip
    text = words_of(SUMMARY | {"candidates": found, "rejections": [rejected]}, False)
    assert "Not offered: 812 places on level, low ground" in text and "--keep-water-like offers it" in text


def test_parcels_without_an_option_are_named() -> None:
    """Whoever asks about each parcel learns that the others beat it, or that nothing passes there."""
    left = [{"parcel": "Hill", "passed": 3, "best": 71.26}, {"parcel": "Pond", "passed": 0, "best": None}]
    text = words_of(SUMMARY | {"parcels_left_out": left}, False)
    assert "No option lies in Hill: its best place scores 71.3 (--per-parcel lists more parcels)." in text
    assert "No option lies in Pond: no place passes every limit there (layer `rejections`)." in text
    pond = {"parcel": "Pond", "house": "6x20m", "bearing_deg": 90.0, "tried": 900}
    why = [pond | {"rule": "boundary", "rejected": 800, "words": "too narrow"}]
    told = words_of(SUMMARY | {"parcels_left_out": left, "rejections": why}, False)
    assert "every limit there; too narrow (layer" in told
    why += [pond | {"rule": rule, "rejected": count, "words": rule} for rule, count in (("pitch", 90), ("ponding", 10))]
    told = words_of(SUMMARY | {"parcels_left_out": left, "rejections": why}, False)
    assert "every limit there; most that fit are rejected: pitch (layer" in told
    assert "more parcel" not in text.replace("lists more parcels", "")
    many = words_of(SUMMARY | {"parcels_left_out": left * 4}, False)
    assert many.count("No option lies in") == 5 and "Nor does one lie in 3 more parcels." in many


@pytest.mark.parametrize(("se", "words"), [(0.007, "less than 0.1"), (0.049, "less than 0.1"), (0.05, "0.1")])
def test_a_doubt_that_rounds_to_nothing_is_not_called_zero(se: float, words: str) -> None:
    text = words_of(SUMMARY | {"candidates": [ROW | {"pitch_se_pct": se}]}, False)
    assert f"falls 0.8 % (give or take {words}), " in text


def test_a_month_that_keeps_all_its_sun_is_not_called_dark() -> None:
    row = ROW | {"beam_share": 0.999, "beam_share_worst": 0.9964, "worst_month": 6}
    text = words_of(SUMMARY | {"candidates": [row]}, False)
    assert "100 % of the sun of the crop months" in text and "darkest" not in text
