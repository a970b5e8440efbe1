"""A kept region: ranked again and drawn at random as if each draw were a ranking of its own."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pytest
from scipy.special import ndtr
from scipy.stats import spearmanr

from tests.region.farms import ASKED, region_files
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.hosts.cli.main import main
from tunnelsite.region.draw_statistics import rank_correlations
from tunnelsite.region.kept_region import KeptRegion, kept_region
from tunnelsite.region.one_task import run_path
from tunnelsite.region.rescored import rescore_region
from tunnelsite.region.sensitivity import ALL, Sensitivity, sensitivity
from tunnelsite.scan.firmness.parcel_draws import ParcelPlan, limits_drawn, parcel_draws, weights_drawn
from tunnelsite.screening.kept_run import of_kept_run
from tunnelsite.screening.loose_run import as_asked
from tunnelsite.screening.result import Result

HOUSES = ("6x15m", "9.1x29.3m")


@pytest.fixture(scope="module")
def region(tmp_path_factory) -> KeptRegion:
    folder = tmp_path_factory.mktemp("kept")
    dem, parcels = region_files(folder)
    words = [
        "--house",
        HOUSES[1],
        "--rubric",
        "pitch.limit=1.6",
        "--workers",
        "0",
        "--drainage",
        "halo",
        "--keep",
        "--group-size",
        "400m",
    ]
    assert main(["region", str(dem), str(parcels), *ASKED, *words, "--out", str(folder / "r.gpkg"), "-q"]) == 0
    return kept_region(folder / "r.gpkg")


@pytest.fixture(scope="module")
def run(region: KeptRegion) -> Result:
    return of_kept_run(run_path(region.folder, region.tasks[0].key), lambda found: found)


def judges_asked(region: KeptRegion, run: Result) -> list:
    return [replace(one, rubric=replace(one.rubric, limit=region.limits[one.id])) for one in run.judges]


def test_ranked_again_as_it_was(region: KeptRegion) -> None:
    """Kept with looser limits and cut to the parcels, a region comes out as it was screened."""
    again = {table.name: table for table in rescore_region(region).layers}
    for layer in ("candidates", "pads", "rejections", "parcels", "criteria"):
        found = pyogrio.read_dataframe(region.path, layer=layer)
        for name in found.columns.drop("geometry", errors="ignore"):
            one = [None if value is None or value != value else value for value in found[name].tolist()]
            assert again[layer].values(name) == one, (layer, name)
    assert len(again["candidates"].rows) > 10
    failed = [row["state"] for row in again["parcels"].rows if row["state"] != "screened"]
    assert failed == ["no data", "no data"]


def test_ranked_again_with_other_weights_and_limits(region: KeptRegion, tmp_path: Path) -> None:
    out = tmp_path / "again.gpkg"
    words = ["--weight", "drainage=9", "--rubric", "pitch.limit=1.8", "--workers", "0", "--out", str(out)]
    assert main(["rescore", str(region.path), *words]) == 0
    one, two = (pyogrio.read_dataframe(path, layer="parcels").set_index("parcel") for path in (region.path, out))
    assert (two.passed.dropna() >= one.passed.dropna()).all() and two.passed.sum() > one.passed.sum()
    rows = pyogrio.read_dataframe(out, layer="run")
    assert "weight.drainage" in rows[rows.kind == "ranked again"].name.tolist()
    with pytest.raises(UsageError, match="limit of pitch"):
        rescore_region(region, rubrics={"pitch": {"limit": 2.1}})


def test_draws_are_rankings_one_by_one(region: KeptRegion, run: Result) -> None:
    """The slow reference: every draw of weights and limits ranked by itself, as `rescore` does it."""
    plan, scan = ParcelPlan(draws=6, concentration=20.0, limit_range=0.2, heights=False), run.scans[-1]
    lowest = [scan.measures["pitch"][scan.owner == parcel].min(initial=np.inf) for parcel in range(3)]
    near = max(pitch for pitch in lowest if np.isfinite(pitch))  # so that a parcel has room in some draws only
    judges = [
        replace(judge, rubric=replace(judge.rubric, limit=float(near))) if judge.id == "pitch" else judge
        for judge in judges_asked(region, run)
    ]
    found = parcel_draws(run, judges, {"all": plan}, 0)["all"]
    weights, limits = weights_drawn(judges, plan), limits_drawn(judges, plan)
    rooms = set()
    for draw in range(plan.draws):
        drawn = {judge.id: limit for judge, limit in zip(judges, limits[draw], strict=True) if np.isfinite(limit)}
        given = {judge.id: float(weight) for judge, weight in zip(judges, weights[draw], strict=True)}
        one = as_asked(run, drawn, given)
        for house, scores in found.items():
            for parcel in range(len(scores)):
                here = [
                    values[scan.owner == parcel]
                    for scan, values in zip(one.scans, one.scored, strict=True)
                    if scan.house.name == house
                ]
                best = np.concatenate(here).max(initial=-np.inf)
                rooms.add((house, parcel, np.isfinite(best)))
                assert np.isfinite(scores[parcel, draw]) == np.isfinite(best), (house, parcel, draw)
                if np.isfinite(best):
                    assert scores[parcel, draw] == pytest.approx(best, abs=2e-6)
    assert len({room[:2] for room in rooms}) < len(rooms)


def test_heights_are_drawn_by_their_standard_error(region: KeptRegion, run: Result) -> None:
    """With one placement a parcel the chance to pass is the closed form of a normal error."""
    scan = run.scans[0]
    first = np.zeros(len(scan.index), bool)
    first[np.unique(scan.owner, return_index=True)[1]] = True
    one = scan.only(first)
    truth = one.truths["pitch"]
    limit = float(np.median(truth.mean))
    judges = [
        replace(
            judge, rubric=replace(judge.rubric, limit=max(limit, judge.rubric.full_at) if judge.id == "pitch" else None)
        )
        for judge in run.judges
    ]
    alone = replace(run, scans=[one], judges=[replace(j, rubric=replace(j.rubric, limit=None)) for j in run.judges])
    plan = ParcelPlan(draws=4000, concentration=None, limit_range=0.0)
    passed = np.isfinite(parcel_draws(alone, judges, {"all": plan}, 0)["all"][scan.house.name]).mean(axis=1)
    used = next(judge.rubric.limit for judge in judges if judge.id == "pitch")
    chance = ndtr((used - truth.mean) / truth.se)
    assert np.allclose(passed[one.owner], chance, atol=0.03) and np.ptp(chance) > 0.02
    again, other = (parcel_draws(alone, judges, {"all": plan}, number)["all"][scan.house.name] for number in (0, 1))
    assert np.isfinite(again).mean(axis=1).tolist() == passed.tolist() and not np.array_equal(
        again, other, equal_nan=True
    )


def test_a_looser_limit_than_was_kept_is_refused(region: KeptRegion, run: Result) -> None:
    with pytest.raises(ValueError, match="looser"):
        parcel_draws(run, judges_asked(region, run), {"all": ParcelPlan(draws=50, limit_range=0.4)}, 0)
    with pytest.raises(UsageError, match="limit range"):
        sensitivity(region, ParcelPlan(limit_range=0.3))


def test_rank_correlation_is_spearmans() -> None:
    """Against scipy.stats.spearmanr, ties and parcels without room among them."""
    numbers = np.random.default_rng(5)
    base, scores = numbers.integers(0, 30, 40).astype(float), numbers.normal(50, 10, (40, 6))
    base[:7], scores[3:9, 1:4] = np.nan, np.nan
    wanted = [spearmanr(np.nan_to_num(base, nan=-1), np.nan_to_num(one, nan=-1)).statistic for one in scores.T]
    assert np.allclose(rank_correlations(base, scores), wanted)
    assert np.isnan(rank_correlations(np.full(5, np.nan), np.ones((5, 2)))).all()


def test_robustness_of_a_region(region: KeptRegion, tmp_path: Path, capsys) -> None:
    """From the command line, and from Python with the tasks in another order."""
    out = tmp_path / "firm.gpkg"
    assert main(["robustness", str(region.path), "--draws", "30", "--workers", "0", "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert "where water runs stay as measured" in said
    assert "rank correlation" in said and "10 parcels have room as screened" in said
    parcels = pyogrio.read_dataframe(out, layer="parcels").set_index("parcel")
    known = parcels[parcels.state == "screened"]
    assert known.feasible_share_6x15m.between(0, 1).all() and parcels.feasible_share_6x15m.isna().sum() == 2
    assert (known.score_p10_6x15m.dropna() <= known.score_p90_6x15m.dropna()).all()
    assert set(parcels.town) == {"Elm", "Fir"}
    run = pyogrio.read_dataframe(out, layer="run")
    assert run[run.kind == "sensitivity"].set_index("name").value["draws"] == "30"
    assert "where water runs" in run.set_index("name").value["not_drawn"]
    table = pyogrio.read_dataframe(out, layer="sensitivity")
    assert table.drawn.tolist() == 2 * [ALL, "weights", "limits", "heights"] and set(table.house) == set(HOUSES)
    assert (table.parcels == 10).all() and (table.feasible_p10 <= table.feasible_p90).all()
    turned = sensitivity(replace(region, tasks=region.tasks[::-1]), ParcelPlan(draws=30))
    for name in ("feasible_share_6x15m", "score_p50_9_1x29_3m"):
        assert np.array_equal(parcels[name], np.array(turned.parcels.values(name), float), equal_nan=True)
    assert turned.rows == table.astype(object).where(table.notna(), None).to_dict("records")


def test_what_may_or_may_not_have_room_is_in_no_share_of_the_draws(region: KeptRegion) -> None:
    """Two parcels that have room in every draw and others that have none in any, of which it is not known; then none is known."""
    count = len(region.parcels.rows)
    rows = [row | {"feasible_6x15m": 1 if k < 2 else None} for k, row in enumerate(region.parcels.rows)]
    some = replace(region, parcels=region.parcels.with_rows(rows), houses=HOUSES[:1])
    scores = np.array([[50.0, 60.0], [70.0, 80.0], *[[np.nan, np.nan]] * (count - 2)], np.float32)
    found = Sensitivity(some, ParcelPlan(draws=2), {ALL: {HOUSES[0]: scores}})
    (row,) = found.rows
    assert (row["parcels"], row["feasible"], row["feasible_p10"], row["unsettled"]) == (2, 1.0, 1.0, 0)
    assert found.parcels.values("feasible_share_6x15m") == [1.0, 1.0, *[None] * (count - 2)]
    assert "100 % of 2 parcels have room as screened" in found.words()
    none = replace(some, parcels=some.parcels.with_rows([one | {"feasible_6x15m": None} for one in some.parcels.rows]))
    told = replace(found, region=none)
    assert told.rows[0]["parcels"] == 0 and "6x15m: of no parcel is it known whether it has room" in told.words()


def test_what_makes_the_heights_doubtful_stands_above_the_shares(region: KeptRegion) -> None:
    """Where the cells are too wide for the house, drawn heights change no pitch: the shares alone would look firm."""
    doubt = "DOUBT: cells of d.tif are 10 m and cannot show how level the ground is"
    noted = region.run.with_rows([*region.run.rows, {"kind": "note", "name": "tasks", "value": doubt}])
    there = np.zeros((len(region.parcels.rows), 3))
    found = Sensitivity(replace(region, run=noted), ParcelPlan(draws=3), {ALL: dict.fromkeys(region.houses, there)})
    assert found.words().startswith(doubt + "\n") and found.summary["doubts"] == [doubt]
    assert replace(found, region=region).summary["doubts"] == []


def test_what_a_region_cannot_be_asked(region: KeptRegion, tmp_path: Path, capsys) -> None:
    assert main(["robustness", str(region.path), "--elevation-error", "0.2m"]) == 2
    assert "--elevation-error" in capsys.readouterr().err
    assert main(["robustness", str(tmp_path / "run.npz"), "--limit-range", "5%"]) == 2
    copy = shutil.copy(region.path, tmp_path / "r.gpkg")
    with pytest.raises(InputRefused, match="screened with --keep"):
        kept_region(copy)
    assert kept_region(copy, region.folder).tasks
