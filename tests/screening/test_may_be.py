"""Options that may stand in a river are named together, whatever their rank."""

from __future__ import annotations

from tunnelsite.screening.may_be import bed_left_out_words, far_behind_words, may_be_words

BED = "may be a river's bed, open water or flood plain: a bank 5 m high stands over it"


def test_each_doubt_is_said_once_with_its_options() -> None:
    rows = [
        {"rank": 1, "flags": "pitch uncertain"},
        {"rank": 2, "flags": f"pitch uncertain; {BED}"},
        {"rank": 3, "flags": f"{BED.replace('5 m', '6 m')}; lies in a hollow"},
        {"rank": 4, "flags": "may be open water: heights are rounded"},
        {"rank": 5, "flags": ""},
    ]
    assert may_be_words(rows) == [
        "Options 2 and 3 may be a river's bed, open water or flood plain: look there before anything else.",
        "Option 4 may be open water: look there before anything else.",
    ]
    assert may_be_words(rows[:1]) == []


def test_options_far_behind_are_named() -> None:
    rows = [{"rank": rank, "score": score} for rank, score in enumerate((96.0, 48.0, None, 47.9, 1.7), 1)]
    assert far_behind_words(rows) == [
        "Options 4 and 5 score less than half as much as option 1: they pass the limits, and little more."
    ]
    assert far_behind_words(rows[:4])[0].startswith("Option 4 scores less than half as much as option 1: it passes")
    assert far_behind_words(rows[:3]) == far_behind_words(rows[2:3]) == far_behind_words([]) == []


def test_what_is_not_offered_is_counted_with_the_way_to_have_it() -> None:
    rows = [{"rule": "river_bed", "rejected": count} for count in (1200, 34)] + [{"rule": "pitch", "rejected": 7}]
    (words,) = bed_left_out_words(rows)
    assert words.startswith("Not offered: 1,234 places on level, low ground") and "--keep-water-like" in words
    assert bed_left_out_words(rows[2:]) == bed_left_out_words([{"rule": "river_bed", "rejected": 0}]) == []
