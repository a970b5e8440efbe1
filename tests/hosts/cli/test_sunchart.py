"""`sunchart` end to end on the sample farm, and what it refuses before anything is read."""

import argparse
import csv
import json
import pathlib
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from tunnelsite.core.errors import InputRefused, TunnelsiteError, UsageError
from tunnelsite.hosts.cli.plan_options import add_sunchart_options
from tunnelsite.hosts.cli.sunchart import sunchart
from tunnelsite.settings.fields import ScreeningFields

FARM = pathlib.Path(__file__).resolve().parents[3] / "sample_data"
YARD = ("-78.148002506", "43.007542228")  # beside the barn and the shed


def _given(*words: str) -> argparse.Namespace:
    command = argparse.ArgumentParser(allow_abbrev=False)
    for name in ("--project", "--dem", "--parcels", "--crop-months", "--halo", "--bearing", "--weather"):
        command.add_argument(name)
    add_sunchart_options(command)
    for name in ("overwrite", "json", "quiet"):
        command.add_argument(f"--{name}", action="store_true", default=None)
    own = command.get_default("settings_given")
    command.set_defaults(
        settings_given=own | {ScreeningFields: ("crop_months", "halo", "bearing", "weather", "overwrite")}
    )
    given = command.parse_args([*words, "--quiet"])
    given.house = given.keep_out = given.service = given.weight = None
    return given


def test_sample_farm(tmp_path, capsys):
    field = tmp_path / "field.csv"
    field.write_text("azimuth_deg,elevation_deg\n0,32\n45,20\n90,1\n120,11\n180,1\n260,25\n")
    words = ["--project", str(FARM / "farm.toml"), "--at", *YARD, "--utc-offset", "-5", "--halo", "400", "--json"]
    words += [
        "--out",
        str(tmp_path / "c.svg"),
        "--csv",
        str(tmp_path / "c.csv"),
        "--field-horizon",
        str(field),
        "--north",
        "true",
    ]
    assert sunchart(_given(*words)) == 0
    summary = json.loads(capsys.readouterr().out)
    assert {item["what"] for item in summary["hidden_by"]} >= {"barn", "shed", "tree"}
    assert 0.95 < summary["crop_beam_share"] < 1
    assert [item["azimuth_deg"] for item in summary["field_differences"]] == [260.0]
    root = ElementTree.parse(tmp_path / "c.svg").getroot()
    assert root.tag.endswith("svg")
    rows = list(csv.DictReader((tmp_path / "c-hidden.csv").read_text("utf-8").splitlines()))
    shed = [row for row in rows if row["what"] == "shed" and (row["month"], row["day"]) == ("1", "21")]
    # the shed is 12 m x 7 m and 4 m tall about 18 m east-south-east of the point (sample_data/farm_layout.py)
    assert len(shed) == 1 and float(shed[0]["standing_m"]) == 4.0 and 10 < float(shed[0]["distance_m"]) < 22
    assert {path.name for path in tmp_path.iterdir()} == {
        "c.svg", "field.csv", "c-hidden.csv", "c-hours.csv", "c-horizon.csv", "c-light.csv", "c-field.csv",
    }  # fmt: skip
    with pytest.raises(TunnelsiteError, match="exists already"):
        sunchart(_given(*words))


def test_magnetic_readings_by_their_day(tmp_path, capsys):
    """The declination of WMM2025 at the farm in March 2027 is about 11.3 deg west; checked against the model itself."""
    import datetime

    from tunnelsite.plans.stakeout.bearings import declination

    field = tmp_path / "field.csv"
    field.write_text("azimuth_deg,elevation_deg\n0,32\n45,20\n90,1\n120,11\n180,1\n260,25\n")
    words = ["--project", str(FARM / "farm.toml"), "--at", *YARD, "--halo", "300", "--json"]
    words += ["--field-horizon", str(field), "--north", "magnetic"]
    summaries = []
    found = declination(-78.148002506, 43.007542228, 190.0, datetime.date(2027, 3, 15))
    assert -13 < found.declination_deg < -10
    for k, more in enumerate((["--date", "2027-03-15"], ["--declination", f"{found.declination_deg:.4f}"])):
        assert sunchart(_given(*words, *more, "--out", str(tmp_path / f"{k}.svg"))) == 0
        summaries.append(json.loads(capsys.readouterr().out))
    by_day, by_hand = ({d["azimuth_deg"] // 1: d for d in s["field_differences"]} for s in summaries)
    assert by_day.keys() == by_hand.keys()
    assert any("WMM2025" in note for note in summaries[0]["notes"])
    assert not any("WMM2025" in note for note in summaries[1]["notes"])
    cost, (gap,) = summaries[0]["ridge_bearing"], summaries[0]["clear_gaps"]
    by_season = {row["season"]: row["east_west_over_north_south"] for row in cost["seasons"]}
    assert by_season["winter_half_year"] > 0 > by_season["summer_half_year"] and "derived" in cost["source"]
    assert 3 < gap["gable_noon_m"] < gap["arch_noon_m"] < gap["arch_10_to_14_h_solar_m"] < 8


def test_candidate_by_rank(tmp_path, capsys):
    import geopandas
    import pandas
    import pyogrio
    import shapely

    sites = tmp_path / "sites.gpkg"
    lon, lat = map(float, YARD)
    columns = {
        "rank": [1, 2],
        "parcel": ["Lark Bench", "Home <Ring>"],
        "house": ["30x96ft", "20x48ft"],
        "bearing_deg": [90.0, 60.0],
        "width_m": [30 * 0.3048, 20 * 0.3048],
        "length_m": [96 * 0.3048, 48 * 0.3048],
        "lon": [-78.1497, lon],
        "lat": [43.0075, lat],
    }
    shapes = [shapely.Point(x, y).buffer(1e-4) for x, y in zip(columns["lon"], columns["lat"], strict=True)]
    geopandas.GeoDataFrame(columns, geometry=shapes, crs=4326).to_file(sites, layer="candidates", driver="GPKG")
    settings = {"crop_months": "04-01:05-31", "light_height_m": "2.0", "halo_m": "50.0"}
    run = {"kind": ["setting"] * 3, "name": list(settings), "value": list(settings.values()), "detail": [""] * 3}
    pyogrio.write_dataframe(pandas.DataFrame(run), sites, layer="run")
    words = [
        "--project",
        str(FARM / "farm.toml"),
        "--halo",
        "200",
        "--sites",
        str(sites),
        "--out",
        str(tmp_path / "c.svg"),
    ]
    assert sunchart(_given(*words, "--json", "--rank", "2")) == 0
    told = json.loads(capsys.readouterr().out)
    # what is said of the ridge and of gaps is of this candidate's house and bearing, not of the settings'
    assert told["ridge_bearing"]["bearing_deg"] == 60.0 and told["crop_months"] == "10-01:04-30"
    (gap,) = told["clear_gaps"]
    assert gap["house"] == "20x48ft"
    drawn = (tmp_path / "c.svg").read_text(
        "utf-8"
    )  # the project does not say the height of the light: its screening does
    assert "(2.00 m) above the ground" in drawn
    # a ridge 12 ft high over the middle: its noon shadow across the ridge, less half the width (geometry)
    noon = np.radians(90 - lat - 23.44)
    assert gap["gable_noon_m"] == pytest.approx(
        12 * 0.3048 / np.tan(noon) * np.sin(np.radians(60)) - 10 * 0.3048, abs=0.06
    )
    title = ElementTree.parse(tmp_path / "c.svg").getroot().find("{http://www.w3.org/2000/svg}title").text
    assert title == "Sun chart: Candidate 2, Home <Ring>, 20x48ft"
    with pytest.raises(UsageError, match="one of the 2 ranks"):
        sunchart(_given(*words, "--overwrite", "--rank", "3"))


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ([], "--at and --rank"),
        (["--at", *YARD, "--rank", "1"], "--at and --rank"),
        (["--rank", "1"], "without a screening"),
        (["--at", "43.0", "-178.1"], "longitude"),
        (["--at", "west", "43"], "number"),
        (["--at", *YARD, "--utc-offset", "99"], "-15 to 15"),
        (["--at", *YARD, "--days", "02-31"], "02-31"),
        (["--at", *YARD, "--cover-transmission", "80"], "0.001 to 1"),
        (["--at", *YARD, "--north", "true"], "--field-horizon"),
        (["--at", *YARD, "--field-horizon", "f.csv"], "--north"),
        (["--at", *YARD, "--date", "2027-03-15"], "--field-horizon"),
        (["--at", *YARD, "--field-horizon", "f.csv", "--north", "magnetic"], "--date"),
        (["--at", *YARD, "--field-horizon", "f.csv", "--north", "true", "--date", "2027-03-15"], "magnetic"),
        (["--at", *YARD, "--field-horizon", "f.csv", "--north", "magnetic", "--date", "15 March"], "2027-03-15"),
        (["--at", *YARD, "--weather", "missing.epw"], "missing"),
        (["--at", "-79.5", "43.0"], "no elevation"),
    ],
)
def test_refusals_leave_nothing_behind(tmp_path, words, expected):
    given = _given("--project", str(FARM / "farm.toml"), "--halo", "0", "--out", str(tmp_path / "c.svg"), *words)
    with pytest.raises((UsageError, InputRefused), match=expected):
        sunchart(given)
    assert [path for path in tmp_path.iterdir() if not path.name.startswith(".")] == []


def test_png_says_what_is_missing_or_draws(tmp_path):
    from tunnelsite.drawing.png import png_of

    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="20" height="10"><rect width="20" height="10" fill="#000"/></svg>'
    try:
        import resvg_py  # noqa: F401
    except ImportError:
        with pytest.raises(UsageError, match="resvg-py is not installed"):
            png_of(svg)
        return
    assert png_of(svg, 2.0)[:8] == b"\x89PNG\r\n\x1a\n"
