"""`layout`: the block keeps its gaps and limits, its bound holds, and its trenches go round what is barred."""

from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
import shapely.affinity

from tests.hosts.screened import asked, refused
from tests.whole_run.files import NORTH, UTM17, WEST, gentle, plain_farm, write_parcels
from tunnelsite.core.units import FOOT_M
from tunnelsite.hosts.cli.main import main

FARM = Path(__file__).resolve().parents[3] / "sample_data"


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """A field of 94 x 74 m with a tap near its north-west corner and a wall of a keep-out beside the tap."""
    folder = tmp_path_factory.mktemp("farm")
    dem, parcels = plain_farm(folder, gentle())
    tap = write_parcels(folder / "tap.gpkg", [shapely.Point(WEST + 6.5, NORTH - 6.5)], UTM17, what=["tap"])
    wall = shapely.box(WEST + 9, NORTH - 60, WEST + 10, NORTH - 4)
    return str(dem), str(parcels), str(tap), str(write_parcels(folder / "wall.gpkg", [wall], UTM17, what=["wall"]))


def _go(farm, tmp_path, *words: str) -> list[str]:
    out = ["--out", str(tmp_path / "layout.gpkg"), "--overwrite", "--azimuths", "8"]
    return ["layout", farm[0], farm[1], "--house", "6x15m", "--service", f"water={farm[2]}", *out, *words]


def _apart(shapes, side_m: float, end_m: float) -> bool:
    """Every pair is clear by the end gap along or by the side gap across, seen along the ridge.

    On the map an east-west ridge leans by the convergence of the zone, so the houses are turned back by the bearing of the
    longest side of the first one; what is left is the map's scale (1.0001 here) and the change of convergence over the farm.
    """
    corners = shapely.get_coordinates(shapes.iloc[0])
    sides = np.diff(corners, axis=0)
    east, north = sides[np.argmax(np.hypot(*sides.T))]
    lean = np.degrees(np.arctan2(north, east))
    level = shapely.affinity.rotate(shapely.multipolygons(list(shapes)), -lean, origin=(0, 0))
    boxes = shapely.bounds(shapely.get_parts(level))
    for i in range(len(boxes)):
        for j in range(i):
            along = max(boxes[i][0], boxes[j][0]) - min(boxes[i][2], boxes[j][2])
            across = max(boxes[i][1], boxes[j][1]) - min(boxes[i][3], boxes[j][3])
            if along < end_m - 0.05 and across < side_m - 0.05:
                return False
    return True


def test_block_keeps_gaps_and_counts(farm, tmp_path, capsys):
    summary = asked(capsys, *_go(farm, tmp_path, "--scattered", "--houses", "4", "--gap", "5m", "--end-gap", "4m"))
    assert len(summary["houses"]) == 4 and summary["proven"]
    found = geopandas.read_file(tmp_path / "layout.gpkg", layer="layout")
    assert len(found) == 4 and list(found["rank"]) == [1, 2, 3, 4]
    assert _apart(found.geometry, 5.0, 4.0)
    parcel = geopandas.read_file(farm[1]).geometry.iloc[0]
    assert all(parcel.covers(pad) for pad in geopandas.read_file(tmp_path / "layout.gpkg", layer="pads").geometry)
    assert found["score"].sum() == pytest.approx(summary["total_score"], abs=1e-3)
    assert summary["score_bound"] >= summary["total_score"] - 1e-6
    assert found["gap_m"].min() >= 4.0 - 1e-6
    nearest = min(found.geometry.iloc[0].distance(other) for other in found.geometry.iloc[1:])
    assert found["gap_m"].iloc[0] == pytest.approx(nearest, rel=1e-3)
    run = geopandas.read_file(tmp_path / "layout.gpkg", layer="run")
    assert "layout gap" in set(run["name"])


def test_block_is_no_worse_than_the_ranking(farm, tmp_path, capsys):
    """The ranking takes the best first; with the same gaps the best block cannot score less in total."""
    sites = tmp_path / "sites.gpkg"
    words = ["--house", "6x15m", "--service", f"water={farm[2]}", "--azimuths", "8", "--top", "5"]
    assert main(["screen", farm[0], farm[1], *words, "--out", str(sites), "-q"]) == 0
    ranked = geopandas.read_file(sites, layer="candidates")["score"].sum()
    summary = asked(capsys, *_go(farm, tmp_path, "--scattered", "--houses", "5", "--gap", "0", "--end-gap", "0"))
    assert summary["total_score"] >= ranked - 1e-3


def test_mix_of_sizes(farm, tmp_path, capsys):
    words = ["--scattered", "--house", "5x8m", "--houses", "5", "--mix", "6x15m=1", "--mix", "5x8m=2"]
    summary = asked(capsys, *_go(farm, tmp_path, *words))
    sizes = [row["house"] for row in summary["houses"]]
    assert sizes.count("6x15m") <= 1 and sizes.count("5x8m") <= 2 and len(sizes) == 3


def test_shade_rule_sets_the_gap_across(farm, tmp_path, capsys):
    """A gable to the ground (eave 0): the ridge's shadow, 12 ft high, less half a width. Reach at noon of midwinter is
    tan(latitude + 23.44 deg) (derived); from 10:00 it is longer."""
    words = ["--houses", "2", "--roof", "gable", "--shade-from"]
    gap = asked(capsys, *_go(farm, tmp_path, *words, "11:59"))["shade_gap_m"]["6x15m"]
    lat = asked(capsys, *_go(farm, tmp_path, "--houses", "1"))["houses"][0]["lat"]
    assert gap["left"] == pytest.approx(12 * FOOT_M * np.tan(np.radians(lat + 23.44)) - 3.0, abs=0.02)
    assert gap["right"] == 0
    early = asked(capsys, *_go(farm, tmp_path, *words, "10:00"))["shade_gap_m"]["6x15m"]["left"]
    spring = asked(capsys, *_go(farm, tmp_path, *words, "10:00", "--shade-day", "03-20"))["shade_gap_m"]["6x15m"][
        "left"
    ]
    # at an equinox the tips of shadows run east-west, so the hour makes no difference: tan(latitude) (derived)
    assert spring == pytest.approx(12 * FOOT_M * np.tan(np.radians(lat)) - 3.0, abs=0.05)
    assert early > gap["left"] > spring


def test_trenches_go_round_and_cost_what_the_user_says(farm, tmp_path, capsys):
    free = asked(capsys, *_go(farm, tmp_path, "--houses", "1", "--price", "water=10/m"))["houses"][0]["trenches"][
        "water"
    ]
    # no way is shorter than the straight distance (geometry); cells beside the wall count from their middle
    assert free["straight_m"] - 1e-9 <= free["length_m"] <= 1.03 * free["straight_m"] + 1.5
    assert free["cost"] == pytest.approx(10 * free["length_m"])
    walled = asked(capsys, *_go(farm, tmp_path, "--houses", "1", "--keep-out", farm[3], "--price", "water=1/ft"))
    way = walled["houses"][0]["trenches"]["water"]
    assert way["cost"] == pytest.approx(way["length_m"] / FOOT_M)
    lines = geopandas.read_file(tmp_path / "layout.gpkg", layer="trenches")
    barred = geopandas.read_file(farm[3]).geometry.iloc[0]
    assert not lines.geometry.intersects(barred).any()
    houses = geopandas.read_file(tmp_path / "layout.gpkg", layer="layout")
    assert not lines.geometry.intersects(houses.geometry.iloc[0].buffer(-0.8)).any()
    foot, tap = houses.geometry.iloc[0], geopandas.read_file(farm[2]).geometry.iloc[0]
    assert (
        lines.distance(foot).max() < 1e-3 and lines.distance(tap).max() < 1e-3
    )  # from the wall itself to the tap itself
    assert lines["length_m"].iloc[0] == pytest.approx(lines.length.iloc[0], rel=1e-3)  # the map's scale
    assert lines["straight_m"].iloc[0] == pytest.approx(foot.distance(tap), rel=1e-3)
    assert lines["straight_m"].iloc[0] <= lines["at_least_m"].iloc[0] <= lines["length_m"].iloc[0]
    priceless = asked(capsys, *_go(farm, tmp_path, "--houses", "1"))["houses"][0]["trenches"]["water"]
    assert priceless["cost"] is None


def test_no_room_for_all(farm, tmp_path, capsys):
    summary = asked(
        capsys,
        *_go(farm, tmp_path, "--scattered", "--houses", "40", "--gap", "12m", "--first", "houses", "--time-limit", "1"),
    )
    assert 0 < len(summary["houses"]) < 40
    assert any("of 40 houses only" in note for note in summary["notes"])
    assert summary["houses_bound"] >= len(summary["houses"])
    found = geopandas.read_file(tmp_path / "layout.gpkg", layer="layout")
    assert _apart(found.geometry, 12.0, 12.0)


def test_a_block_can_be_staked_out(farm, tmp_path, capsys):
    asked(capsys, *_go(farm, tmp_path, "--houses", "2"))
    sites, out = str(tmp_path / "layout.gpkg"), str(tmp_path / "s.csv")
    summary = asked(capsys, "stakeout", farm[0], farm[1], "--sites", sites, "--rank", "2", "--out", out)
    second = geopandas.read_file(sites, layer="layout").iloc[1]
    assert (summary["lon"], summary["lat"]) == pytest.approx((second["lon"], second["lat"]))


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["--houses", "0"], "1 to 1000"),
        (["--scattered", "--houses", "2", "--mix", "9x9m=1"], "SIZE=NUMBER"),
        (["--houses", "2", "--mix", "6x15m=1"], "without --scattered"),
        (["--scattered", "--houses", "2", "--aisle", "6m"], "with --scattered"),
        (["--houses", "2", "--give", "-1"], "0 or more"),
        (["--houses", "2", "--shade-day", "12-21"], "--shade-from"),
        (["--houses", "2", "--shade-from", "14:00"], "before noon"),
        (["--houses", "2", "--price", "water=12"], "NAME=AMOUNT/UNIT"),
        (["--houses", "2", "--price", "gas=12/m"], "water"),
        (["--houses", "2", "--price", "water=-1/m"], "above 0"),
        (["--houses", "2", "--parcel", "Nowhere"], "p0"),
        (["--houses", "2", "--shade-from", "02:00"], "not up"),
    ],
)
def test_refusals_leave_nothing_behind(farm, tmp_path, capsys, words, expected):
    status, message = refused(capsys, *_go(farm, tmp_path, *words))
    assert status == 2, message
    assert expected in message
    assert not list(tmp_path.glob("[!.]*"))


def test_compact_block_stands_on_one_parcel_with_gaps_an_aisle_and_one_trunk(farm, tmp_path, capsys):
    """A field of two parcels; the tap lies in a corner. Scattered houses dig a trench each."""
    west = [shapely.box(WEST + a, NORTH - 77, WEST + b, NORTH - 3) for a, b in ((3, 47), (48, 97))]
    land = write_parcels(tmp_path / "two.gpkg", west, UTM17)
    two = (farm[0], str(land), *farm[2:])
    words = ["--houses", "4", "--gap", "4m"]
    apart = asked(capsys, *_go(two, tmp_path, "--scattered", *words))
    summary = asked(capsys, *_go(two, tmp_path, *words, "--aisle", "5m"))
    assert len(summary["houses"]) == 4 and summary["proven"] and len({row["parcel"] for row in summary["houses"]}) == 1
    found = geopandas.read_file(tmp_path / "layout.gpkg", layer="layout")
    assert _apart(found.geometry, 4.0, 5.0)
    assert all(
        row["gap_m"] < 5.0 + 1.5 for row in summary["houses"]
    )  # the next house is one gap or aisle away, to a cell
    assert summary["trench_totals"]["water"]["length_m"] < 0.7 * apart["trench_totals"]["water"]["length_m"]
    lines = geopandas.read_file(tmp_path / "layout.gpkg", layer="trenches").sort_values("rank")
    assert lines["joins"].isna().sum() == 1  # one trunk
    for row in lines.dropna(subset=["joins"]).itertuples():
        other = lines[lines["rank"] == row.joins].geometry.iloc[0]
        assert row.geometry.distance(other) < 1e-3
    picture = (tmp_path / "layout.svg").read_text("utf-8")
    assert (
        picture.startswith("<?xml")
        and "trench to water" in picture
        and [k for k in range(1, 9) if f">{k}</text>" in picture] == [1, 2, 3, 4]
    )


def test_prices_bring_the_block_nearer_and_say_what_it_gives_up(farm, tmp_path, capsys):
    words = ["--houses", "2", "--gap", "4m", "--aisle", "5m"]
    plain = asked(capsys, *_go(farm, tmp_path, *words))
    priced = asked(capsys, *_go(farm, tmp_path, *words, "--price", "water=10/m", "--give", "5"))
    first, second = (one["trench_totals"]["water"]["length_m"] for one in (plain, priced))
    assert second < first - 5
    assert plain["total_score"] - 10 - 1e-6 <= priced["total_score"] <= plain["total_score"]
    assert priced["score_bound"] == pytest.approx(plain["total_score"])
    assert "cheapest trunk" in priced["verdict"] and "best of all such blocks" in plain["verdict"]
    none = asked(capsys, *_go(farm, tmp_path, *words, "--price", "water=10/m", "--give", "0"))
    assert none["total_score"] == pytest.approx(plain["total_score"])


def test_sample_farm(tmp_path, capsys):
    """Four houses on one of its parcels, with all three services; no house on the barred ground."""
    out = str(tmp_path / "block.gpkg")
    words = [
        "layout",
        "--project",
        str(FARM / "farm.toml"),
        "--houses",
        "4",
        "--parcel",
        "Lark Bench",
        "--shade-from",
        "10:00",
        *("--azimuths", "8", "--halo", "20m"),  # the light of the farm is tested elsewhere
    ]
    summary = asked(capsys, *words, "--out", out)
    assert {row["parcel"] for row in summary["houses"]} == {"Lark Bench"} and summary["proven"]
    found = geopandas.read_file(out, layer="layout")
    for name in ("wetland", "floodplain", "road", "structures"):
        barred = geopandas.read_file(FARM / f"{name}.gpkg").to_crs(found.crs)
        assert not any(barred.intersects(shape).any() for shape in found.geometry)
    trenches = geopandas.read_file(out, layer="trenches")
    assert set(trenches["service"]) == {"water", "power", "road"}
    picture = (tmp_path / "block.svg").read_text("utf-8")
    assert "way to the road" in picture and "trench to road" not in picture  # nobody digs one
    known = trenches.dropna(subset=["length_m"])
    assert (known["length_m"] >= known["straight_m"] - 4.0).all()
    # ways over land of others, measured again from the file
    land = geopandas.read_file(FARM / "parcels.gpkg").to_crs(found.crs).union_all()
    assert known["outside_m"].to_numpy() == pytest.approx(known.geometry.difference(land).length.to_numpy(), abs=0.05)
    assert known["outside_m"].max() > 5
    assert any("outside every parcel need an easement" in note for note in summary["notes"])


def test_distances_in_feet_where_the_user_works_in_feet() -> None:
    """Gap and trenches on the screen: feet with metres in brackets, the price by the foot."""
    from tunnelsite.plans.layout.words import layout_words

    row = {"rank": 1, "score": 80.0, "parcel": "p", "house": "30x96ft", "lon": 0.0, "lat": 0.0, "gap_m": 30.48}
    row["trenches"] = {"water": {"length_m": 60.96, "cost": 243.84}}
    summary = {"verdict": "v", "houses": [row], "prices": {"water": 4.0}, "notes": [], "cautions": [], "output": "o"}
    summary |= {"picture": "p", "scattered": False, "trench_totals": {"water": {"length_m": 60.96, "cost": 243.84}}}
    shown = layout_words(summary, feet=True)
    assert "100 (30.5)" in shown and "200 (61)" in shown and "1.219 a foot (4 a metre)" in shown
    plain = layout_words(summary, feet=False)
    assert "30.5" in plain and "ft" not in plain.replace("30x96ft", "") and "4 a metre" in plain
