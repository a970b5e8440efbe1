"""`demo`, and what goes on from its GeoPackage: the sample farm screened once."""

from __future__ import annotations

import json
from pathlib import Path
from subprocess import CompletedProcess

import geopandas
import numpy as np
import pyogrio
import pytest

from tests.hosts.cli.test_main import FARM, ROOT, called
from tests.hosts.screened import asked
from tunnelsite.hosts.cli.main import main

CONTRACT = [
    "rank", "score", "parcel", "rank_in_parcel", "house", "width_m", "length_m", "bearing_deg", "lon", "lat", "ground_m",
    "pitch_along_pct", "pitch_across_pct", "pitch_se_pct", "relief_m", "roughness_m", "crown_m", "cut_m3", "fill_m3",
    "max_cut_m", "max_fill_m", "pad_m2", "upslope_m2", "ponding_m", "beam_share", "beam_share_worst",
    "worst_month", "noon_clear_dec", "drainage_height_m",
    "drainage_distance_m", "room_m", "score_here", "score_lowest", "assessed_pct", "not_assessed", "wind_shelter",
    "topographic_factor", "cold_pool_m", "valley_depth_m", "reach_water_m", "reach_power_m", "reach_road_m", "night_lux", "clearance_m", "flags",
]  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, CompletedProcess]:
    """(its GeoPackage, which is for reading only; what the command said)."""
    out = tmp_path_factory.mktemp("demo") / "sites.gpkg"
    return out, called("demo", "--out", out)


def test_demo_needs_no_argument_and_ranks(demo) -> None:
    out, done = demo
    assert done.returncode == 0, done.stderr
    layers = {name for name, _ in pyogrio.list_layers(out)}
    assert layers >= {"candidates", "pads", "stakes", "rejections", "criteria", "run"}
    assert "rank" in done.stdout and "screening, not a survey" in done.stdout
    assert "\x1b" not in done.stderr and "\x1b" not in done.stdout  # run-07: no colour where it is no terminal


def test_candidates_carry_the_columns_of_the_contract(demo) -> None:
    out, _ = demo
    found = list(pyogrio.read_info(out, layer="candidates")["fields"])
    assert [name for name in found if name in CONTRACT] == CONTRACT
    scores = [name for name in found if name.startswith("score_") and name not in CONTRACT]
    assert {"score_pitch", "score_sun", "score_drainage", "score_reach_water"} <= set(scores)
    table = pyogrio.read_dataframe(out, layer="candidates")
    assert table["rank"].tolist() == list(range(1, len(table) + 1)) and len(table) == 10
    assert table["score"].is_monotonic_decreasing
    assert table["score"].between(0, 100).all()
    for name in scores:
        assert table[name].dropna().between(0, 1).all()


def test_the_demo_finds_what_was_planted(demo) -> None:
    out, _ = demo
    truths = json.loads((FARM / "truths.json").read_text())
    table = pyogrio.read_dataframe(out, layer="candidates")
    narrow = pyogrio.read_dataframe(out, layer="rejections", read_geometry=False)
    reasons = narrow[narrow.rule == "boundary"].set_index("parcel").reason
    assert reasons["Ribbon"].startswith(
        "too narrow: 21 ft 4 in (6.50 m) at its widest, and the house needs 30 ft (9.14 m)"
    )
    assert "Ribbon" not in set(table.parcel)
    assert (table.bearing_deg - 90).abs().max() < 0.01
    assert truths  # the terrace, the pond and the hollow are tested in tests/whole_run


def test_run_table_and_criteria_say_what_was_done(demo) -> None:
    out, _ = demo
    run = pyogrio.read_dataframe(out, layer="run", read_geometry=False)
    inputs = run[run.kind == "input"]
    assert {"dem.tif", "parcels.gpkg", "surface.tif"} <= set(inputs.name)
    assert inputs.value.str.match(r"sha256 [0-9a-f]{64}").all()
    cautions = " ".join(run[run.kind == "caution"].value)
    for word in (
        "buried utilities",
        "overhead power lines",
        "Local codes rule",
        "licensed practice",
        "level in the field",
    ):
        assert word in cautions
    criteria = pyogrio.read_dataframe(out, layer="criteria", read_geometry=False)
    assert criteria.source.str.len().min() > 5
    remembered = run.kind == "project"  # its files as seen from the GeoPackage: by a relative path, wherever both lie
    assert not run.value[~remembered].str.contains(str(ROOT)).any()
    settings = json.loads(run.value[remembered].item())
    for name in ("dem", "parcels", "surface"):
        assert not Path(settings[name]).is_absolute()
        assert (out.parent / settings[name]).resolve().is_relative_to(ROOT)


def test_grading_of_the_best_place(demo, tmp_path, capsys):
    """No water is lost or made over the border of the box, and what still enters the pad is said."""
    sites, _ = demo
    words = ["grading", "--project", str(FARM / "farm.toml"), "--sites", str(sites), "--rank", "1", "--draws", "20"]
    summary = asked(capsys, *words, "--out", str(tmp_path / "g.gpkg"))
    water = summary["drainage"]
    assert any("still enters" in text for text in summary["cautions"]) == (water["entering_after_m2"] > 0)
    stuck = [arm for arm in water["swale"] if not arm["reaches_daylight"]]
    assert sum("longer tail" in text for text in summary["cautions"]) == len(stuck)
    assert water["neighbours"]["left_before_m2"] == pytest.approx(water["neighbours"]["left_after_m2"], rel=0.01)
    candidates = geopandas.read_file(sites, layer="candidates")
    assert summary["grading"]["pad_cut_m3"] == pytest.approx(candidates.iloc[0]["cut_m3"], rel=0.2, abs=0.1)
    lines = geopandas.read_file(tmp_path / "g.gpkg", layer="lines")
    assert lines.crs == candidates.crs
    assert np.isfinite(lines.total_bounds).all() and lines.distance(candidates.geometry.iloc[0]).max() < 600


def test_stake_out_of_the_best_place_in_every_format(demo, tmp_path, capsys):
    sites, _ = demo
    endings = ("csv", "gpx", "geojson", "html")
    outs = [word for ending in endings for word in ("--out", str(tmp_path / f"s.{ending}"))]
    words = [
        "stakeout",
        "--project",
        str(FARM / "farm.toml"),
        "--sites",
        str(sites),
        "--rank",
        "1",
        "--date",
        "2026-11-25",
    ]
    summary = asked(capsys, *words, *outs)
    assert [Path(text).suffix[1:] for text in summary["outputs"]] == list(endings)
    # sample_data/README.md: true east is the wanted bearing, and grid north lies 1.95 deg clockwise of true north there
    assert summary["bearing_deg"] == pytest.approx(90.0, abs=0.01)
    assert summary["bearings"]["from grid north (WGS 84 / UTM zone 17N)"].startswith("88.0")
    assert summary["diagonal_m"] == pytest.approx(np.hypot(96, 30) * 0.3048)
    assert {path.suffix for path in tmp_path.glob("s.*")} == {f".{ending}" for ending in endings}
    geojson = geopandas.read_file(tmp_path / "s.geojson")
    assert len(geojson) == sum(summary["stakes"].values()) + 1
    assert "one-call" in (tmp_path / "s.html").read_text("utf-8")
    assert main([*words, *outs, "-q"]) == 2  # exists already
