"""`robustness` on a kept run of a small farm."""

from __future__ import annotations

import json
from pathlib import Path

import pyogrio
import pytest

from tests.whole_run.files import plain_farm
from tunnelsite import read_site, screen
from tunnelsite.core.house import House
from tunnelsite.hosts.cli.main import main
from tunnelsite.screening.kept_run import keep_run
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module")
def kept(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("farm")
    dem, parcels = plain_farm(folder)
    settings = settings_from(
        {"halo": "20m", "top": 4, "setback": "2m", "azimuths": 8, "draws": 40, "elevation_error": "4cm"}
    )
    keep_run(
        screen(read_site(str(dem), str(parcels)), House(5.0, 12.0), settings=settings),
        folder / "run.npz",
        overwrite=False,
    )
    return folder / "run.npz"


def said(capsys, *words: str) -> dict:
    capsys.readouterr()
    assert main(["robustness", *words, "--json", "-q"]) == 0
    return json.loads(capsys.readouterr().out)


def test_seeds_repeat_and_the_runs_settings_hold(kept: Path, capsys) -> None:
    one, two = said(capsys, str(kept)), said(capsys, str(kept))
    assert one == two
    assert one["plan"]["draws"] == "40" and one["plan"]["elevation_error_m"] == "0.04" and one["plan"]["seed"] == "1"
    other = said(capsys, str(kept), "--seed", "2", "--draws", "60", "--error-range", "3m", "--concentration", "10")
    assert other["plan"] | {"draws": "60", "seed": "2", "error_range_m": "3", "concentration": "10"} == other["plan"]
    assert other["rank_acceptability"] != one["rank_acceptability"]
    for shares, place in zip(one["rank_acceptability"], one["places"], strict=False):
        assert sum(shares) + place["out_share"] == pytest.approx(1)
    assert sum(place["best_of_all"] for place in one["places"]) == pytest.approx(1)


def test_tables_and_words(kept: Path, tmp_path: Path, capsys) -> None:
    out = tmp_path / "firm.gpkg"
    assert main(["robustness", str(kept), "--out", str(out), "--concentration", "0", "-q"]) == 0
    words = capsys.readouterr().out
    assert "rank  score" in words and "any weights" in words and "measured again on each drawn ground: pitch" in words
    assert not any(name in words for name in ("deepest_cut", "flow_beside", "reach_"))  # titles, not ids
    places = pyogrio.read_dataframe(out, layer="robustness")
    first = next(line.split() for line in words.splitlines() if line.split()[:1] == ["1"])
    assert f"{places['pitch_within_exact'][0]:.0%}" in first  # the chance that explain and the report tell
    listed = places[places["rank"].notna()]
    assert len(listed) and (listed["pitch_within_share"].between(0, 1)).all() and places.geometry.is_valid.all()
    assert places.best_of_all.sum() == pytest.approx(1)
    assert places.loc[places["rank"].isna(), "first_share"].isna().all()  # was not in these draws: NULL, never 0
    shares = pyogrio.read_dataframe(out, layer="rank_acceptability")
    assert len(shares) == len(listed) ** 2
    run = pyogrio.read_dataframe(out, layer="run")
    assert {"draws", "seed", "error_range_m"} <= set(run.loc[run.kind == "robustness", "name"])
    assert (run.kind == "caution").any()
    assert main(["robustness", str(kept), "--out", str(out), "-q"]) == 2  # the output is there already


@pytest.mark.parametrize(
    "words",
    [
        ("--draws", "0"),
        ("--seed", "-1"),
        ("--elevation-error", "900m"),
        ("--concentration", "x"),
        ("--concentration", "-1"),
        ("--out", "firm.shp"),
    ],
)
def test_wrong_settings_are_refused(kept: Path, words, capsys) -> None:
    assert main(["robustness", str(kept), *words, "-q"]) == 2
    assert "tunnelsite:" in capsys.readouterr().err


def test_a_missing_run_is_refused(tmp_path: Path) -> None:
    assert main(["robustness", str(tmp_path / "none.npz"), "-q"]) == 3
