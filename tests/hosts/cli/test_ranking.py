"""`screen --keep`, `rescore` and `compare` on a small farm."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import shapely

from tests.whole_run.files import NORTH, UTM17, WEST, plain_farm, write_parcels
from tunnelsite import read_site, screen
from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.house import House
from tunnelsite.hosts.cli.main import main
from tunnelsite.screening import candidate_rows
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.model import settings_from


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    folder = tmp_path_factory.mktemp("farm")
    dem, parcels = plain_farm(folder)
    settings = settings_from({"halo": "20m", "top": 5, "setback": "2m", "bearing_tolerance": 10, "bearing_step": 10})
    halves = [shapely.box(WEST, NORTH - 200, WEST + 45, NORTH), shapely.box(WEST + 45, NORTH - 200, WEST + 300, NORTH)]
    columns = {"drainage_class": ["Well drained", "poorly drained"], "hydgrp": ["B", "C/D"], "name": ["a", "b"]}
    soils = write_parcels(folder / "soils.gpkg", halves, UTM17, **columns)
    site = read_site(str(dem), str(parcels), structures=None, soils=str(soils))
    result = screen(site, [House(5.0, 12.0), House(4.0, 8.0)], settings=settings)
    keep_run(result, folder / "run.npz", overwrite=False)
    return result, folder / "run.npz"


def test_a_kept_run_ranks_as_it_did(run) -> None:
    result, path = run
    again = kept_run(path)
    assert [(c.scan, c.item, c.score) for c in again.choices] == [(c.scan, c.item, c.score) for c in result.choices]
    soils = {word for row in result.rows for word in row["flags"].split("; ") if word.startswith("soil: ")}
    assert soils & {"soil: well drained (hydrologic group B)", "soil: poorly drained (hydrologic group C/D)"}
    for one, two in zip(result.rows, again.rows, strict=True):
        assert one.keys() == two.keys()
        for name, value in one.items():
            assert two[name] == (pytest.approx(value, nan_ok=True) if isinstance(value, float) else value), name
    for name in ("rejections", "criteria", "pads", "stakes"):
        a, b = result.tables[name], again.tables[name]
        keys = [key for key in a.columns if key != "reason"]
        assert [a.values(key) for key in keys] == [b.values(key) for key in keys], name


def test_rescoring_a_kept_run_is_rescoring_the_run(run) -> None:
    result, path = run
    changes = {"pitch": 9.0, "sun": 0.0}
    one, two = result.rescore(changes), kept_run(path).rescore(changes)
    assert [(c.scan, c.item, c.score) for c in one.choices] == [(c.scan, c.item, c.score) for c in two.choices]
    with pytest.raises(UsageError, match="loosened"):
        kept_run(path).rescore(rubrics={"pitch": {"limit": 99}})


def test_a_new_ranking_of_a_kept_run_describes_no_other(run, monkeypatch) -> None:
    _, path = run
    described, rows = [], candidate_rows.candidate_rows
    monkeypatch.setattr(candidate_rows, "candidate_rows", lambda one: described.append(one) or rows(one))
    new = kept_run(path, lambda old: old.rescore({"pitch": 9.0}))
    assert described == [new]
    want = kept_run(path).rescore({"pitch": 9.0})
    assert repr(new.rows) == repr(want.rows)  # NaN is not equal to itself
    with pytest.raises(UsageError, match="loosened"):
        kept_run(path, lambda old: old.rescore(rubrics={"pitch": {"limit": 99}}))
    with pytest.raises(UsageError, match="no criterion"):
        kept_run(path, lambda old: old.rescore({"pich": 1.0}))


@pytest.mark.parametrize("content", [b"", b"junk", b"PK\x03\x04rest"])
def test_what_is_no_kept_run_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.npz").write_bytes(content)
    with pytest.raises(InputRefused):
        kept_run(tmp_path / "x.npz")
    np.savez(tmp_path / "y.npz", about=np.frombuffer(b"{}", np.uint8))
    with pytest.raises(InputRefused):
        kept_run(tmp_path / "y.npz")
    with pytest.raises(InputRefused):
        kept_run(tmp_path / "none.npz")


def test_commands(run, tmp_path: Path, capsys) -> None:
    result, path = run
    first, second = tmp_path / "a.gpkg", tmp_path / "b.gpkg"
    result.write(first)
    assert (
        main(
            [
                "rescore",
                str(path),
                "--out",
                str(second),
                "--weight",
                "pitch=50",
                "--rubric",
                "pitch.none_at=1",
                "--json",
                "-q",
            ]
        )
        == 0
    )
    summary = json.loads(capsys.readouterr().out)
    assert summary["candidates"] and any("kept run" in note for note in summary["notes"])
    assert main(["rescore", str(path), "--out", str(second), "-q"]) == 2  # the output is there already
    assert main(["rescore", str(path), "--out", str(tmp_path / "c.gpkg"), "--weight", "pich=1"]) == 2
    assert "did you mean 'pitch'" in capsys.readouterr().err
    assert main(["rescore", str(path), "--out", str(tmp_path / "c.gpkg"), "--rubric", "pitch=1"]) == 2
    capsys.readouterr()
    assert main(["compare", str(first), str(first), "--json"]) == 0
    same = json.loads(capsys.readouterr().out)
    assert all(pair["rank_a"] == pair["rank_b"] and pair["overlap"] == pytest.approx(1) for pair in same["pairs"])
    assert not same["settings"]
    assert main(["compare", str(first), str(second)]) == 0
    assert "first" in capsys.readouterr().out
    assert main(["compare", str(first), str(path)]) in (2, 3)


def test_candidates_of_one_run_side_by_side(run, tmp_path: Path, capsys) -> None:
    result, _ = run
    sites = tmp_path / "sites.gpkg"
    result.write(sites)
    assert main(["compare", str(sites), "--ranks", "1,2,3"]) == 0
    words = capsys.readouterr().out
    assert "rank 2 scores" in words and "slope along the ridge" in words and "weight" in words
    assert main(["compare", str(sites), "--ranks", "3,1", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["ranks"] == [3, 1] and told["scores"] == [result.rows[2]["score"], result.rows[0]["score"]]
    sums = [sum(points[k] for points in told["points"].values()) for k in range(2)]
    assert sums == pytest.approx(told["scores"], abs=1e-3)
    for words in (
        ["--ranks", "1,99"],
        ["--ranks", "1"],
        ["--ranks", "1,1"],
        ["--ranks", "a,b"],
        [],
        [str(sites), "--ranks", "1,2"],
    ):
        assert main(["compare", str(sites), *words]) == 2
        assert "tunnelsite:" in capsys.readouterr().err


def test_rescoring_counts_and_tells_what_it_did(run) -> None:
    """The rejections and the run table are those of a screening with the new settings (a limit made stricter)."""
    result, path = run
    changes = {"weights": {"pitch": 7.0}, "rubrics": {"pitch": {"limit": 0.7}}}
    new = kept_run(path).rescore(**changes)
    told = {row["name"]: row["value"] for row in new.tables["run"].rows if row["kind"] == "setting"}
    assert "pitch = 7" in told["weight"] and "limit = 0.7" in told["rubric"]
    settings = result.settings.model_copy(update={"weight": {"pitch": 7.0}, "rubric": {"pitch": {"limit": 0.7}}})
    whole = screen(result.site, [House(5.0, 12.0), House(4.0, 8.0)], settings=settings)
    assert new.choices and [(c.scan, c.score) for c in new.choices] == [(c.scan, c.score) for c in whole.choices]
    names = ("parcel", "house", "bearing_deg", "rule", "tried", "rejected", "limit_value", "nearest_miss")
    rows = [[row.get(name) for name in names] for row in new.tables["rejections"].rows]
    wanted = [[row.get(name) for name in names] for row in whole.tables["rejections"].rows]
    assert rows == wanted
    assert any(row["rule"] == "pitch" and row["rejected"] for row in new.tables["rejections"].rows)
    nothing = kept_run(path).rescore(rubrics={"pitch": {"full_at": 0.0, "limit": 1e-6}})
    assert not nothing.choices
    assert any(
        row["rule"] == "pitch" and row["rejected"] == row["tried"] > 0 for row in nothing.tables["rejections"].rows
    )


def test_the_summary_reads_each_column_once(run, monkeypatch) -> None:
    """A thousand parcels have five thousand rows of rejections: reading columns row by row would be quadratic."""
    from tunnelsite.core.table import Table
    from tunnelsite.hosts.cli.screening import summary_of

    result, read = run[0], []
    _ = result.tables
    values = Table.values
    monkeypatch.setattr(Table, "values", lambda table, name: read.append((table.name, name)) or values(table, name))
    summary_of(result, Path("x.gpkg"), 0.0)
    assert len(read) == len(set(read))
