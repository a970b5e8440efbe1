"""What other programs and workers do to a region: a worker that dies, a role that changes, a plug-in that is renewed."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest

from tests.region import deadly
from tests.region.farms import region_files
from tunnelsite.core import catalogue
from tunnelsite.core.process import silent
from tunnelsite.region import running
from tunnelsite.region.inputs import read_region, task_inputs, task_site
from tunnelsite.region.one_task import TaskOutputs
from tunnelsite.region.screened import RegionPlan, planned
from tunnelsite.region.tasks import Task
from tunnelsite.region.worker_pool import Hands, WorkerPool
from tunnelsite.settings.model import Settings, settings_from


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> tuple[Path, Path, Path]:
    folder = tmp_path_factory.mktemp("roles")
    dem, parcels = region_files(folder)
    boxes = geopandas.read_file(parcels).assign(height_m=3.0, drainage_class="Well drained")
    for k in range(2):
        boxes.iloc[k : k + 1].to_file(folder / "two.gpkg", layer="ab"[k])
    return dem, parcels, folder / "two.gpkg"


def keys(files, **more) -> set[str]:
    settings = settings_from({"dem": str(files[0]), "parcels": str(files[1])} | more)
    return {task.key for task in planned(read_region(settings), settings, RegionPlan(150.0))[0]}


def test_one_file_in_two_roles_is_two_tasks(files) -> None:
    """A part that is taken up again must never be the answer to another question."""
    dem, _, two = files
    asked = [
        {},
        {"obstacles": f"{two}#a"},
        {"structures": f"{two}#a"},
        {"structures": f"{two}#b"},
        {"soils": f"{two}#a"},
        {"keep_out": f"{two}#a"},
        {"keep_out": f"{two}#b"},
        {"keep_out": f"{two}#a@5m"},
        {"service": {"water": f"{two}#a"}},
        {"service": {"water": f"{two}#b"}},
        {"service": {"power": f"{two}#a"}},
        {"surface": str(dem)},
        {"far_dem": str(dem)},
    ]
    found = [keys(files, **one) for one in asked]
    for k, one in enumerate(found):
        for j, other in enumerate(found[:k]):
            assert not one & other, (asked[k], asked[j])


def test_a_renewed_plug_in_makes_other_tasks(files, monkeypatch) -> None:
    before = keys(files)
    assert before == keys(files)
    monkeypatch.setattr(catalogue, "plug_in_versions", lambda: [["tunnelsite.criteria", "a", "a:A", "a 2"]])
    assert not before & keys(files)


def test_only_the_task_that_kills_its_worker_fails(tmp_path: Path, monkeypatch) -> None:
    """Dask blames every task that waited at a worker that died: which ones they are would depend on the number of workers."""
    pytest.importorskip("distributed")
    monkeypatch.setattr(running, "run_task", deadly.run)
    names = ["a" * 64, deadly.FATAL, "b" * 64, "c" * 64, "d" * 64]
    tasks = [Task(k, np.array([k]), key) for k, key in enumerate(names)]
    call = (Settings(), TaskOutputs(1, None))
    with Hands(WorkerPool(1), len(tasks)) as hands:
        failures = running.run_tasks(tasks, lambda task: None, call, hands, running.PartsFolder(tmp_path), silent)
    assert list(failures) == [1] and failures[1].status == 4 and "killed" in failures[1].reason
    whole = {running.part_path(tmp_path, task).read_bytes().decode() for task in tasks if task.number != 1}
    assert whole == {*names} - {deadly.FATAL}
    assert not running.part_path(tmp_path, tasks[1]).exists()


def test_rasters_are_found_from_any_folder(files, monkeypatch) -> None:
    """A worker of another scheduler was started elsewhere."""
    monkeypatch.chdir(files[0].parent)
    settings = settings_from({"dem": files[0].name, "parcels": files[1].name})
    region = read_region(settings)
    tasks, _ = planned(region, settings, RegionPlan(150.0))
    monkeypatch.chdir("/")
    inputs = task_inputs(region, tasks[0].parcels, settings)
    assert np.isfinite(task_site(inputs, settings).dem.values).any()
