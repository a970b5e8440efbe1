"""Options chosen by hand: letters, names, pinned places, notes and photos, and what is refused."""

from __future__ import annotations

import base64
from dataclasses import replace

import numpy as np
import pytest

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.io.read.picture import drawing_text, picture_address
from tunnelsite.io.write.picture_png import png_bytes
from tunnelsite.report.chosen import PinnedPlace, choice_at, chosen_options
from tunnelsite.report.page import PageAsk, report_page
from tunnelsite.report.plain_words import file_words, house_words
from tunnelsite.report.settings import ReportSettings


def shaped(result, **given):
    return chosen_options(result, ReportSettings(**given))


def test_without_a_choice_the_ranking_stays(hostile) -> None:
    same, options = shaped(hostile.result, note={"2": "wet in spring"})
    assert same is hostile.result and [one.label for one in options] == [str(k + 1) for k in range(len(same.choices))]
    assert options[1].note == "wet in spring" and options[1].title == "Option 2"


def test_ranks_and_places_are_lettered_in_their_order(hostile) -> None:
    result = hostile.result
    row = result.rows[1]
    place = {"D: Lane": f"{row['lon']!r},{row['lat']!r},E-W"}
    chosen, options = shaped(result, ranks=["4", "1"], names=["Barn"], place=place, note={"d": "flat"})
    assert [one.label for one in options] == ["A", "B", "D"] and [one.rank for one in options] == [4, 1, 2]
    assert [one.title for one in options] == ["Option A: Barn", "Option B", "Option D: Lane"] and options[
        2
    ].note == "flat"
    assert chosen.choices == [result.choices[k] for k in (3, 0, 1)]
    assert "rank_shares" not in vars(chosen), "the verdict is on the options shown"


def test_a_place_that_was_not_ranked_has_no_rank(hostile) -> None:
    result = hostile.result
    fewer = replace(result, choices=result.choices[:1])
    row = result.rows[3]
    _, (option,) = shaped(fewer, place={"Pin": f"{row['lon']!r},{row['lat']!r}"})
    assert (option.label, option.rank, option.name) == ("A", None, "Pin")
    off = PinnedPlace(row["lon"], row["lat"] + 0.01)
    assert choice_at(fewer, off) is None and choice_at(fewer, PinnedPlace(row["lon"], row["lat"], 0.0)) is None
    assert choice_at(fewer, PinnedPlace(row["lon"], row["lat"], None, "another")) is None


@pytest.mark.parametrize(
    ("given", "say"),
    [
        ({"ranks": ["0"]}, "ranks"),
        ({"ranks": ["1", "1"]}, "each rank once"),
        ({"ranks": ["99"]}, "ranks"),
        ({"ranks": ["1"], "names": ["a", "b"]}, "one name per rank"),
        ({"names": ["a"]}, "--ranks"),
        ({"ranks": ["1"], "note": {"B": "x"}}, "not shown"),
        ({"place": {"A": "1"}}, "LON,LAT"),
        ({"place": {"A": "400,1"}}, "longitude"),
        ({"place": {"A": "10,10"}}, "passes every rule"),
    ],
)
def test_what_cannot_be_shown_is_refused(hostile, given, say) -> None:
    with pytest.raises(UsageError, match=say):
        shaped(hostile.result, **given)


def test_photos_are_made_small_and_carry_nothing_else(tmp_path) -> None:
    """A PNG text chunk stands for what a camera writes into its files."""
    pixels = np.zeros((3, 40, 80), np.uint8)
    pixels[0, :, 40:] = 255
    content = png_bytes(pixels)
    secret = b"\x00\x00\x00\x0atEXtGPS\x00secret" + b"\x00" * 4
    path = tmp_path / "photo.png"
    path.write_bytes(content[:33] + secret + content[33:])
    address = picture_address(str(path), "--photo", 20)
    kind, _, data = address.partition(";base64,")
    assert kind == "data:image/png" and b"secret" not in base64.b64decode(data)
    assert base64.b64decode(data)[16:24] == (20).to_bytes(4) + (10).to_bytes(4)  # width and height (W3C PNG, 11.2.1)
    for wrong in (b"<svg/>", b"\xff\xd8\xffnothing"):
        path.write_bytes(wrong)
        with pytest.raises(InputRefused, match="no picture"):
            picture_address(str(path), "--photo", 20)


def test_a_layout_is_an_image_in_which_nothing_runs(hostile, tmp_path) -> None:
    path = tmp_path / "layout.svg"
    path.write_text('<?xml version="1.0"?><svg viewBox="0 0 9 9"><script>alert(1)</script></svg>')
    assert drawing_text(str(path), "--layout").startswith("<?xml")
    page = report_page(hostile.result, [], PageAsk("t", False, "today", layout=drawing_text(str(path), "--layout")))
    assert "Several houses together" in page and "<script>alert" not in page and "%3Cscript%3E" in page
    path.write_text("<html></html>")
    with pytest.raises(InputRefused, match="no SVG"):
        drawing_text(str(path), "--layout")


def test_words_for_a_client() -> None:
    assert [ridge_words(b) for b in (90.0, 269.5, 0.4, 179.0)] == [
        "east-west",
        "east-west",
        "north-south",
        "north-south",
    ]
    assert ridge_words(63.0) == "63° from true north (northeast-southwest)" and "southeast" in ridge_words(120)
    assert house_words("30x96ft") == "30 × 96 ft" and house_words("big one") == "big one"
    assert file_words("not in wet_land.gpkg, road.shp; 3.5 m") == "not in wet land, road; 3.5 m"
