"""`tunnelsite report`: from inputs or a kept run to a page, refusals, and the PDF by a browser."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
from pathlib import Path

import pytest
import shapely

from tests.hosts.screened import asked, refused
from tests.whole_run.files import NORTH, UTM17, WEST, plain_farm, write_parcels
from tunnelsite.hosts.cli.main import main
from tunnelsite.io.write.print_page import BROWSERS, browser_for

SMALL = ("--house", "6x15m", "--top", "3", "--azimuths", "8")


@pytest.fixture(scope="module")
def farm(tmp_path_factory) -> dict[str, str]:
    """DEM, parcels and a kept run of them."""
    folder = tmp_path_factory.mktemp("farm")
    dem, parcels = plain_farm(folder)
    kept = folder / "run.npz"
    words = ["screen", str(dem), str(parcels), *SMALL, "--out", str(folder / "sites.gpkg"), "--keep", str(kept), "-q"]
    assert main(words) == 0
    return {"dem": str(dem), "parcels": str(parcels), "run": str(kept), "sites": str(folder / "sites.gpkg")}


@pytest.fixture(scope="module")
def from_inputs(farm, tmp_path_factory) -> tuple[Path, dict]:
    """A page with one card and what the command says of it."""
    out, said = tmp_path_factory.mktemp("page") / "page.html", io.StringIO()
    words = ["report", farm["dem"], farm["parcels"], *SMALL, "--cards", "1", "--out", str(out), "--json", "-q"]
    with contextlib.redirect_stdout(said):
        assert main(words) == 0
    return out, json.loads(said.getvalue())


def test_a_page_from_inputs(from_inputs) -> None:
    out, said = from_inputs
    page = out.read_text("utf-8")
    assert said["candidates"] == 3 and said["cards"] == 1 and said["not_planned"] == []
    assert said["page_bytes"] == out.stat().st_size < 5_000_000
    assert page.startswith("<!doctype html>") and 'id="candidate-1"' in page and 'id="candidate-2"' not in page
    assert "Sun chart of option 1" in page and "Places for a 6 × 15 m house" in page


def test_a_page_from_a_kept_run_is_the_same_ranking(farm, from_inputs, tmp_path, capsys) -> None:
    first, second, third = (from_inputs[0], tmp_path / "b.html", tmp_path / "c.html")
    said = asked(capsys, "report", "--run", farm["run"], "--cards", "1", "--out", str(second))
    assert len(said["not_planned"]) == 1 and "sun" in said["not_planned"][0]
    asked(capsys, "report", farm["dem"], farm["parcels"], "--run", farm["run"], "--cards", "1", "--out", str(third))
    rows = [
        _between(path.read_text("utf-8"), '<table id="ranking-table">', "</table>") for path in (first, second, third)
    ]
    assert rows[0] == rows[1] == rows[2]
    maps = [_between(path.read_text("utf-8"), '<div class="keys">', "</section>") for path in (first, second)]
    assert maps[0] == maps[1], "a kept run shows the same rules"
    charts = ["Sun chart of option 1" in path.read_text("utf-8") for path in (first, second, third)]
    assert charts == [True, False, True]
    sun = [_between(path.read_text("utf-8"), "<h4>Sun and light</h4>", "<h4>Earth to move") for path in (first, third)]
    assert sun[0] == sun[1], "the chart from a kept run with its inputs is that of a screening"


def test_a_page_from_a_finished_screening_alone(farm, tmp_path, capsys, monkeypatch) -> None:
    """Everything is in the GeoPackage or named in it: the inputs lie beside it; what is chosen by hand is lettered."""
    out = tmp_path / "page.html"
    monkeypatch.chdir(tmp_path)  # the inputs are found from the file, not from here
    words = ("--ranks", "3,1", "--names", "Barn", "--note", "B=Near the tap", "--prepared-for", "A farm", "--client")
    said = asked(capsys, "report", farm["sites"], *words, "--out", str(out))
    page = out.read_text("utf-8")
    assert said["candidates"] == 2 and said["cards"] == 2 and said["not_planned"] == []
    assert "Prepared for" in page and "Near the tap" in page and "Sun chart of option B" in page
    assert "What differs between the options" in page and ">Ranking<" not in page
    status, words = refused(capsys, "report", farm["sites"], "--ranks", "4", "--out", str(tmp_path / "x.html"))
    assert status == 2 and "ranks" in words
    shutil.copy(farm["sites"], tmp_path / "alone.gpkg")
    status, words = refused(capsys, "report", str(tmp_path / "alone.gpkg"), "--out", str(tmp_path / "x.html"))
    assert status == 3 and "not found there or beside it" in words


def _between(text: str, start: str, end: str) -> str:
    assert text.count(start) == 1
    return text.split(start)[1].split(end)[0]


def test_other_inputs_than_the_kept_runs_are_refused(farm, tmp_path, capsys) -> None:
    (tmp_path / "other").mkdir()
    other, parcels = plain_farm(tmp_path / "other", None, compress="deflate")
    status, words = refused(
        capsys, "report", str(other), str(parcels), "--run", farm["run"], "--out", str(tmp_path / "x.html")
    )
    assert status == 2 and "is not the DEM" in words and not (tmp_path / "x.html").exists()


def test_no_candidate_is_a_page_with_reasons(farm, tmp_path, capsys) -> None:
    narrow = write_parcels(tmp_path / "narrow.gpkg", [shapely.box(WEST + 3, NORTH - 70, WEST + 9, NORTH - 3)], UTM17)
    out = tmp_path / "none.html"
    said = asked(capsys, "report", farm["dem"], str(narrow), *SMALL, "--out", str(out))
    page = out.read_text("utf-8")
    assert (
        said["candidates"] == 0 and "passed every rule" in page and "Too narrow" in page and "<script type" not in page
    )


@pytest.mark.parametrize(
    ("words", "say"),
    [
        (("--out", "page.pdf"), "ends in .html"),
        (("--pdf", "page.html"), "ends in .pdf"),
        (("--cards", "-1"), "cards is"),
        (("--cards", "many"), "cards is"),
        (("--browser", "chromium"), "--browser without --pdf"),
        (("--pdf", "page.pdf", "--browser", "no-such-browser-here"), "is not found"),
    ],
)
def test_wrong_usage_is_refused_before_anything_is_read(capsys, tmp_path, monkeypatch, words, say) -> None:
    monkeypatch.chdir(tmp_path)
    status, said = refused(capsys, "report", "missing.tif", "missing.gpkg", *words)
    assert status == 2 and say in said and not list(tmp_path.iterdir())


def test_no_output_replaces_an_input_or_an_older_page(farm, tmp_path, capsys) -> None:
    out = tmp_path / "page.html"
    out.write_text("kept")
    status, _ = refused(capsys, "report", "--run", farm["run"], "--out", str(out))
    assert status == 2 and out.read_text() == "kept"
    run = shutil.copy(farm["run"], tmp_path / "run.html")
    status, said = refused(capsys, "report", "--run", str(run), "--out", str(run), "--overwrite")
    assert status == 2 and "also an input" in said and Path(run).stat().st_size == Path(farm["run"]).stat().st_size


def test_a_pdf_is_printed_where_a_browser_is_found(farm, tmp_path, capsys) -> None:
    if not any(shutil.which(name) for name in BROWSERS):
        pytest.skip("no browser of the Chromium family is on the path")
    out, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    asked(capsys, "report", "--run", farm["run"], "--client", "--cards", "1", "--out", str(out), "--pdf", str(pdf))
    assert pdf.read_bytes().startswith(b"%PDF-") and out.exists()


def test_a_program_that_prints_nothing_leaves_nothing(farm, tmp_path, capsys) -> None:
    out, pdf = tmp_path / "page.html", tmp_path / "page.pdf"
    words = ("report", "--run", farm["run"], "--cards", "0", "--out", str(out), "--pdf", str(pdf), "--browser", "true")
    status, said = refused(capsys, *words)
    assert status == 5 and "did not print" in said and not out.exists() and not pdf.exists()


def test_the_variable_names_the_browser(monkeypatch) -> None:
    monkeypatch.setenv("TUNNELSITE_BROWSER", shutil.which("true") or "true")
    assert browser_for(None) == shutil.which("true") and browser_for("sh") == shutil.which("sh")
