"""Sites and results in other processes: pickled, spawned, forked, on joblib's workers."""

from __future__ import annotations

import multiprocessing
import os
import pickle

import numpy as np
import pytest

from tests.whole_run.files import gentle, plain_farm
from tunnelsite import House, Settings, read_site, screen
from tunnelsite.core import catalogue
from tunnelsite.core.criterion import Criterion
from tunnelsite.core.errors import ResourceShortage
from tunnelsite.core.layers import Layer
from tunnelsite.core.plug_ins import guarded
from tunnelsite.io.read.raster_reading import RasterReading
from tunnelsite.screening.judges import judges_of
from tunnelsite.screening.kept_run import keep_run, kept_run

HOUSE, SETTINGS = House(6.0, 15.0), Settings(halo_m=5.0, azimuths=8, top=2)


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    folder = tmp_path_factory.mktemp("farm")
    return [str(path) for path in plain_farm(folder, gentle(60, 70))]


@pytest.fixture(scope="module")
def result(farm):
    return screen(read_site(*farm), HOUSE, settings=SETTINGS)


def best(site) -> list[tuple[float, float, float]]:
    """What a worker sends back."""
    return [(row["score"], row["lon"], row["lat"]) for row in screen(site, HOUSE, settings=SETTINGS).rows]


def forked(site) -> str:
    try:
        return str(best(site))
    except ResourceShortage as problem:
        return str(problem)


def forked_again(result) -> list[str]:
    """A new ranking and a single process in a forked child."""
    ground = Layer(result.frame.ground, "m", "ground", (1.0, 1.0))
    found = []
    for work in (
        lambda: result.rescore(weights={"pitch": 9.0}),
        lambda: catalogue.process("slope")({"ground": ground}),
    ):
        try:
            work()
        except ResourceShortage as problem:
            found.append(str(problem))
    return found


def told(result) -> list[tuple[float, float, float]]:
    return [(row["score"], row["lon"], row["lat"]) for row in result.rows]


def test_a_site_comes_through_a_pickle(farm, result) -> None:
    for reading in (RasterReading(), RasterReading(scratch_from_bytes=0)):  # in memory, and in scratch files
        site = pickle.loads(pickle.dumps(read_site(*farm, reading=reading)))
        assert best(site) == told(result)
        assert site.store.from_bytes == reading.scratch_from_bytes


def test_a_result_comes_through_a_pickle(result, tmp_path) -> None:
    again = pickle.loads(pickle.dumps(result))
    assert told(again) == told(result)
    assert told(again.rescore(weights={"pitch": 9.0})) == told(result.rescore(weights={"pitch": 9.0}))
    again.write(tmp_path / "a.gpkg")
    keep_run(again, tmp_path / "k.npz", overwrite=False)
    assert told(pickle.loads(pickle.dumps(kept_run(tmp_path / "k.npz")))) == told(result)


def test_a_guarded_plug_in_comes_through_a_pickle(result) -> None:
    judge = next(judge for judge in result.judges if judge.id == "pitch")
    kept = pickle.loads(pickle.dumps(guarded(judge.criterion)))
    assert isinstance(kept, Criterion) and kept.id == "pitch" and callable(kept.measure)
    assert [one.id for one in pickle.loads(pickle.dumps(judges_of(result.site, SETTINGS, "in-ground")))]


def test_a_spawned_process_screens(farm, result) -> None:
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        assert pool.apply(best, (read_site(*farm),)) == told(result)


def test_a_worker_of_joblib_screens(farm, result) -> None:
    joblib = pytest.importorskip("joblib")
    found = joblib.Parallel(n_jobs=2, backend="loky")(joblib.delayed(best)(read_site(*farm)) for _ in range(2))
    assert found == [told(result)] * 2


@pytest.mark.skipif(not hasattr(os, "fork"), reason="fork is of POSIX")
def test_a_process_forked_after_a_screening_is_told_why_it_cannot(farm, result) -> None:
    """GNU's OpenMP would end it without a word; forked before the first screening it works, as any process."""
    with multiprocessing.get_context("fork").Pool(1) as pool:
        said = pool.apply_async(forked, (read_site(*farm),)).get(timeout=60)
        again = pool.apply_async(forked_again, (result,)).get(timeout=60)
    assert "forked from one that has computed already" in said and "'spawn'" in said
    assert again == [said, said]
    assert np.isfinite(told(result)).all()
