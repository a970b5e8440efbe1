"""Parcels of a region by a column of their own, on a table made by hand."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pyproj
import pytest
import shapely

from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Features
from tunnelsite.core.table import INTEGER, REAL, TEXT, Heading, Places, Table, table_of
from tunnelsite.drawing.labels import name_box
from tunnelsite.region.group_map import SIDE, WIDE, colour, group_map
from tunnelsite.region.groups import groups_table
from tunnelsite.region.parcel_columns import house_column, own_columns, parcel_columns

HOUSES = ["6x15m", "30x96ft"]
SMALL, LARGE = HOUSES
SVG = "{http://www.w3.org/2000/svg}"


def _row(state: str, town: str | None, small: float | None = None, large: float | None = None) -> dict:
    row = {"parcel": "p", "state": state, "town": town}
    for house, best in ((SMALL, small), (LARGE, large)) if state == "screened" else ():
        row |= {
            house_column("feasible", house): int(best is not None), house_column("best_score", house): best,
            house_column("footprints_m2", house): 100.0 if best else 0.0, house_column("options", house): 2 if best else 0,
        }  # fmt: skip
    return row


def _parcels(rows: list[dict]) -> Table:
    shapes = [shapely.box(500_000 + 100 * k, 4_700_000, 500_090 + 100 * k, 4_700_080) for k in range(len(rows))]
    geometry = np.array([shapely.multipolygons([shape]) for shape in shapes], object)
    columns = parcel_columns(HOUSES) | {"town": Heading(TEXT)}
    return table_of("parcels", "parcels", columns, rows, Places(geometry, "MultiPolygon", pyproj.CRS("EPSG:32617")))


ROWS = [
    _row("screened", "Elm", 80.0, 60.0), _row("screened", "Elm", 90.0), _row("no data", "Elm"), _row("screened", None),
    _row("no data", "Oak"), _row("failed", "Oak"),
]  # fmt: skip


@pytest.mark.parametrize("blank", ["", "  "])
def test_a_text_of_blanks_is_no_group(blank: str) -> None:
    rows = [_row("screened", None), _row("screened", blank), _row("screened", " Elm"), _row("screened", "Elm")]
    table = groups_table(_parcels(rows), "town", [SMALL])
    assert [(row["group"], row["parcels"]) for row in table.rows] == [("Elm", 2), ("not stated", 2)]


def test_shares_are_of_the_parcels_of_which_something_is_known() -> None:
    table = groups_table(_parcels(ROWS), "TOWN", HOUSES)
    found = {(row["group"], row["house"]): row for row in table.rows}
    assert len(found) == len(table.rows) == 6
    elm = found["Elm", SMALL]
    assert (elm["parcels"], elm["screened"], elm["feasible"], elm["feasible_share"]) == (3, 2, 2, 1.0)
    assert (elm["best_score"], elm["median_score"], elm["footprints_m2"], elm["options"]) == (90.0, 85.0, 200.0, 4)
    assert found["Elm", LARGE]["feasible_share"] == 0.5
    none = found["not stated", LARGE]
    assert (none["feasible"], none["feasible_share"], none["best_score"]) == (0, 0.0, None)
    oak = found["Oak", LARGE]  # nothing is known there: not unsuitable
    assert (oak["parcels"], oak["screened"], oak["feasible"], oak["feasible_share"]) == (2, 0, None, None)
    assert shapely.area(table.geometry[0]) == pytest.approx(3 * 90 * 80)


def _fills(root: ElementTree.Element) -> list[str | None]:
    """Of all parcels on a map."""
    maps = [one for one in root.iter(f"{SVG}g") if one.findtext(f"{SVG}title") == "parcels"]
    return [path.get("fill") for one in maps for path in one.iter(f"{SVG}path")]


def test_what_may_or_may_not_have_room_is_in_no_share_and_blank_on_the_map() -> None:
    """Of three parcels one has room, one has none, and of one nothing was found where the heights are known."""
    unsure = _row("screened", "Elm") | {
        house_column(name, SMALL): None for name in ("feasible", "footprints_m2", "options")
    }
    parcels = _parcels([_row("screened", "Elm", 80.0), _row("screened", "Elm"), unsure, unsure | {"town": "Fir"}])
    table = groups_table(parcels, "town", [SMALL])
    elm, fir = table.rows
    assert (elm["screened"], elm["not_known"], elm["feasible"], elm["feasible_share"]) == (3, 1, 1, 0.5)
    assert (fir["screened"], fir["not_known"], fir["feasible"], fir["feasible_share"]) == (1, 1, None, None)
    assert (elm["options"], fir["options"], fir["footprints_m2"]) == (2, None, None)
    root = ElementTree.fromstring(group_map(parcels, table, "town"))
    fills = _fills(root)
    assert fills.count(colour(0.5)) == 2 and fills.count("none") == 2


def test_a_column_that_is_not_there_is_refused_with_those_that_are() -> None:
    with pytest.raises(UsageError, match="town"):
        groups_table(_parcels(ROWS), "county", HOUSES)


def test_the_map_draws_every_parcel_for_every_house_and_leaves_the_unknown_blank() -> None:
    parcels = _parcels(ROWS)
    root = ElementTree.fromstring(group_map(parcels, groups_table(parcels, "town", HOUSES), "town"))
    fills = _fills(root)
    assert len(fills) == 2 * len(ROWS) and fills.count("none") == 2 * 3
    assert fills.count(colour(1.0)) == 2 and fills.count(colour(0.5)) == 2 and fills.count(colour(0.0)) == 2
    words = " ".join(one.text or "" for one in root.iter() if one.tag.endswith("text"))
    assert "Elm: 50 %" in words and "Oak: not known" in words


def test_names_of_groups_at_a_maps_side_stay_within_it() -> None:
    rows = [_row("screened", f"a township of a long name, {k}", 80.0, 60.0) for k in range(40)]
    parcels = _parcels(rows)
    root = ElementTree.fromstring(group_map(parcels, groups_table(parcels, "town", HOUSES), "town"))
    names = [
        one for one in root.iter(f"{SVG}text") if one.get("text-anchor") == "middle" and "township" in (one.text or "")
    ]
    assert len(names) >= 2 * 2
    boxes = [name_box(one.text or "", 12, float(one.get("x", "nan")), float(one.get("y", "nan"))) for one in names]
    for one in boxes:
        assert any(left <= one.left and one.right <= left + WIDE for left in (SIDE, SIDE + WIDE + SIDE))
    for one, other in itertools.combinations(boxes, 2):  # what would cover another stands below
        assert min(one.right, other.right) <= max(one.left, other.left) or min(one.bottom, other.bottom) <= max(
            one.top, other.top
        )
    said = " ".join(one.text or "" for one in root.iter(f"{SVG}text"))
    assert (
        all(said.count(f"name, {k}: 100 %") == 2 for k in range(40)) and said.count("Without room for their names") == 2
    )


def test_a_map_has_scale_and_north() -> None:
    """Ten parcels of 90 m at 100 m are 990 m, drawn over the width: the bar of the user's unit comes first and is as long as it says."""
    rows = [_row("screened", "Elm", 80.0, 60.0) for _ in range(10)]
    parcels = _parcels(rows)
    root = ElementTree.fromstring(group_map(parcels, groups_table(parcels, "town", [SMALL]), "town"))
    titles = [one.findtext(f"{SVG}title") for one in root.iter(f"{SVG}g")]
    assert "true north is up" in titles
    bars = next(one for one in root.iter(f"{SVG}g") if one.findtext(f"{SVG}title") == "scale")
    first, words = next(bars.iter(f"{SVG}path")), [one.text or "" for one in bars.iter(f"{SVG}text")]
    at = [float(number) for number in re.findall(r"[-\d.]+", first.get("d") or "")][::2]
    assert words[0].endswith(" m") and words[1].endswith(" ft")
    assert max(at) - min(at) == pytest.approx(float(words[0].removesuffix(" m")) * WIDE / 990, rel=0.01)


def test_a_far_parcel_without_data_shrinks_no_map() -> None:
    near, far = _parcels(ROWS), _parcels([*ROWS, _row("no data", "Far away")])
    shapes = np.array([*near.shapes, shapely.box(560_000, 4_700_000, 560_090, 4_700_080)], object)
    far = table_of("parcels", "parcels", far.columns, far.rows, Places(shapes, "MultiPolygon", far.system))
    pictures = [group_map(one, groups_table(one, "town", [SMALL]), "town") for one in (near, far)]
    drawn = [re.findall(r'<path[^>]* d="[^"]*"', picture) for picture in pictures]
    assert drawn[0] == drawn[1]
    assert "Beyond this map, of which nothing is known: p." in pictures[1] and "Beyond" not in pictures[0]


def test_names_of_groups_that_lie_among_one_another_cover_nothing() -> None:
    """Six groups by turns in one field: the middle of each is the middle of all."""
    rows = [_row("screened", f"Group {'ABCDEF'[k % 6]}", 80.0) for k in range(60)]
    shapes = [shapely.box(500_000 + 100 * (k % 10), 4_700_000 + 90 * (k // 10), 500_090 + 100 * (k % 10), 4_700_080 + 90 * (k // 10)) for k in range(60)]  # fmt: skip
    parcels = _parcels(rows)
    geometry = np.array([shapely.multipolygons([shape]) for shape in shapes], object)
    parcels = table_of("parcels", "parcels", parcels.columns, rows, Places(geometry, "MultiPolygon", parcels.system))
    root = ElementTree.fromstring(group_map(parcels, groups_table(parcels, "town", [SMALL]), "town"))
    at = [
        (float(one.get("x", "nan")), float(one.get("y", "nan")))
        for one in root.iter()
        if one.tag.endswith("text") and (one.text or "").startswith("Group ")
    ]
    assert len(at) == 6
    for k, one in enumerate(at):
        assert all(abs(one[0] - other[0]) > 60 or abs(one[1] - other[1]) >= 12 for other in at[:k])


def test_a_name_stands_in_the_middle_of_parcels_that_do_not_touch() -> None:
    parcels = _parcels([_row("screened", "Elm", 90.0, 80.0) for _ in range(9)])
    drawing = ElementTree.fromstring(group_map(parcels, groups_table(parcels, "town", HOUSES), "town"))
    names = [one for one in drawing.iter("{http://www.w3.org/2000/svg}text") if (one.text or "").startswith("Elm")]
    assert len(names) == len(HOUSES)
    for k, name in enumerate(names):
        assert float(name.attrib["x"]) == pytest.approx(SIDE + k * (WIDE + SIDE) + WIDE / 2, abs=WIDE / 18)


def test_own_columns_are_kept_and_never_hide_ours() -> None:
    columns = {
        "parcel": np.array(["a", "b"], object), "acres": np.array([1.5, np.nan]), "Task": np.array([7, 8]),
        "owner": np.array(["x", None], object), "fid": np.array([1, 2]),
    }  # fmt: skip
    parcels = Features(np.array([shapely.box(0, 0, 1, 1)] * 2, object), columns, pyproj.CRS("EPSG:4326"), "parcels")
    found, rows = own_columns(parcels, list(parcel_columns(HOUSES)))
    assert {name: column.kind for name, column in found.items()} == {
        "acres": REAL,
        "own_Task": INTEGER,
        "owner": TEXT,
    }
    assert rows == [{"acres": 1.5, "own_Task": 7, "owner": "x"}, {"acres": None, "own_Task": 8, "owner": None}]
