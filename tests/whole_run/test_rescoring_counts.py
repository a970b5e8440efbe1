"""A ranking with stricter limits counts rejections as a screening with these limits does, by rule and parcel."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from tests.scan.grounds import features, hills, site
from tunnelsite import House, screen
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.model import settings_from

WEST, NORTH = 499_900.0, 4_700_100.0
HOUSE = House(4.3, 9.7)
PLAIN = {
    "halo": "20m", "top": 3, "azimuths": 8, "crop_months": "03-01:09-30", "setback": "1m",
    "rubric": {"deepest_cut": {"limit": 0.3}, "roughness": {"limit": 0.06}},
}  # fmt: skip
COLUMNS = (
    "parcel",
    "house",
    "rule",
    "tried",
    "rejected",
    "limit_value",
    "nearest_miss",
    "miss_lon",
    "miss_lat",
    "reason",
)


def farm():
    """Hills, two parcels, a pond to keep off and a gap in the heights."""
    ground = hills(70, 100, 4, rise=1.2)
    ground[30:32, 60:63] = np.nan
    parcels = [shapely.box(WEST + a, NORTH - 66, WEST + a + 44, NORTH - 4) for a in (4, 50)]
    pond = features([shapely.Point(WEST + 30, NORTH - 30).buffer(5)], name="pond")
    return site(ground, parcels, keep_outs=(pond,))


def screened(rubric: dict):
    """A whole screening with changed rubrics."""
    rubrics = {name: PLAIN["rubric"].get(name, {}) | rubric.get(name, {}) for name in {**PLAIN["rubric"], **rubric}}
    return screen(farm(), HOUSE, settings=settings_from({**PLAIN, "rubric": rubrics}))


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The run as it is, and kept."""
    result = screened({})
    path = tmp_path_factory.mktemp("kept") / "run.npz"
    keep_run(result, path, overwrite=False)
    return result, path


def some_limits(result, seed: int) -> dict[str, dict[str, float]]:
    """Stricter limits of one to four criteria, drawn where they take a part of what passed."""
    rng = np.random.default_rng(seed)
    scan, found = result.scans[0], {}
    for judge in rng.permutation(np.array(result.judges, object))[: rng.integers(1, 8)]:
        values = scan.measures[judge.id]
        known = values[np.isfinite(values)]
        if not len(known) or len(found) == 4:
            continue
        share = rng.uniform(0.02, 0.3)
        limit = float(np.quantile(known, share if judge.rubric.rises else 1 - share))
        old, full = judge.rubric.limit, judge.rubric.full_at
        if old is not None:
            limit = max(limit, old) if judge.rubric.rises else min(limit, old)
        found[judge.id] = {"limit": min(limit, full) if judge.rubric.rises else max(limit, full)}
    return found


def books(result) -> list[list]:
    """The rejections, without what no table of another run can share."""
    return [[row.get(name) for name in COLUMNS] for row in result.tables["rejections"].rows]


@pytest.mark.parametrize("seed", range(12))
def test_counts_are_those_of_a_screening(run, seed: int) -> None:
    result, path = run
    changes = some_limits(result, seed)
    wanted = screened(changes)
    for again in (result.rescore(rubrics=changes), kept_run(path).rescore(rubrics=changes)):
        assert books(again) == books(wanted)
        assert np.array_equal(again.scans[0].index, wanted.scans[0].index)


def test_limits_made_stricter_one_after_the_other(run) -> None:
    result, path = run
    changes = {"deepest_cut": {"limit": 0.15}, "pitch": {"limit": 6.0}, "drainage": {"limit": 800.0}}
    wanted = books(screened(changes))
    for again in (result, kept_run(path)):
        for name, change in changes.items():
            again = again.rescore(rubrics={name: change})
        assert books(again) == wanted
    rules = {row[2]: row[4] for row in wanted if row[0] == "p0" or row[4]}
    assert sum(rules.get(name, 0) > 0 for name in ("pitch", "drainage", "deepest_cut")) >= 2


def test_a_run_kept_after_rescoring_can_be_rescored(run, tmp_path) -> None:
    _, path = run
    first = kept_run(path).rescore(rubrics={"deepest_cut": {"limit": 0.2}})
    keep_run(first, tmp_path / "again.npz", overwrite=False)
    again = kept_run(tmp_path / "again.npz").rescore(rubrics={"pitch": {"limit": 5.0}})
    assert books(again) == books(screened({"deepest_cut": {"limit": 0.2}, "pitch": {"limit": 5.0}}))
