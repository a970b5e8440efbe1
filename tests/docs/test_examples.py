"""Every example runs as it stands and says what its comments promise."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import rasterio
from scipy import ndimage

import tunnelsite
from tests.docs.conftest import DOCS, ran

EXAMPLES = sorted(path.name for path in (DOCS / "examples").glob("*.py"))
STUDIES = sorted(path.name for path in (DOCS / "studies").glob("*.py"))
GIVEN_BACK = {"Plan", "RegionResult", "Result", "Sensitivity", "Site"}  # what calls return: not made by hand


def test_every_example_is_run_here() -> None:
    assert EXAMPLES == [
        "after_the_choice.py",
        "compare_sizes.py",
        "deciding.py",
        "first_screening.py",
        "grading_and_stakes.py",
        "layout_and_cost.py",
        "slope_of_a_dem.py",
    ]


def test_every_public_name_has_an_example() -> None:
    text = "".join(
        path.read_text("utf-8") for folder in ("examples", "studies") for path in (DOCS / folder).glob("*.py")
    )
    words = set(re.findall(r"\w+", text))
    assert sorted(set(tunnelsite.__all__) - GIVEN_BACK - words) == []


def test_an_editor_can_complete_every_public_name() -> None:
    """They load on first use, so nothing but `__dir__` lists them."""
    assert set(tunnelsite.__all__) <= set(dir(tunnelsite))


def test_the_names_of_the_readme_are_there() -> None:
    blocks = re.findall(r"```python\n(.*?)```", (DOCS.parent / "README.md").read_text("utf-8"), re.DOTALL)
    for block in blocks:
        compile(block, "README.md", "exec")
    names = {
        name
        for block in blocks
        for line in re.findall(r"^from tunnelsite import (.+)$", block, re.M)
        for name in line.split(", ")
    }
    assert len(blocks) >= 3 and {"screen", "screen_region", "sensitivity"} <= names <= set(tunnelsite.__all__)


@pytest.mark.parametrize("name", [f"examples/{name}" for name in EXAMPLES] + [f"studies/{name}" for name in STUDIES])
def test_examples_open_as_notebooks(name: str) -> None:
    """The percent format: a docstring, then cells that begin with `# %%` and a title."""
    text = (DOCS / name).read_text("utf-8")
    cells = [line for line in text.splitlines() if line.startswith("# %%")]
    assert len(cells) >= 4 and all(len(line) > 6 for line in cells)


def test_first_screening(first_screening) -> None:
    candidates = first_screening.names["candidates"]
    assert len(candidates) == 6 and candidates["score"].is_monotonic_decreasing
    assert "night light was not assessed: True" in first_screening.printed
    layers = {name for name, _ in pyogrio.list_layers(first_screening.folder / "sites.gpkg")}
    assert layers >= {"candidates", "pads", "stakes", "rejections", "criteria", "run"}
    item = json.loads((first_screening.folder / "handover" / "item.json").read_text())
    assert item["assets"]["geopackage"]["href"] == "../sites.gpkg"
    found = pyogrio.read_dataframe(first_screening.folder / "handover" / "candidates.geojson")
    assert found["parcel"].tolist() == candidates["parcel"].tolist()
    assert found.to_crs(candidates.crs).symmetric_difference(candidates.geometry, align=False).area.max() < 1.0


def test_compare_sizes(tmp_path: Path) -> None:
    found = ran(DOCS / "examples" / "compare_sizes.py", tmp_path)
    best = found.names["best"]
    cut = {size: result.candidates["cut_m3"].sum() for size, result in found.names["results"].items()}
    assert best.loc["cut_m3", "30x96ft"] >= best.loc["cut_m3", "20x48ft"] and cut["30x96ft"] > cut["20x48ft"]
    count = {size: sum(len(scan.index) for scan in result.scans) for size, result in found.names["results"].items()}
    assert count["20x48ft"] > count["30x96ft"] > 1000
    assert "when light counts three times as much" in found.printed and not list(tmp_path.iterdir())


def test_slope_of_a_dem(tmp_path: Path) -> None:
    found = ran(DOCS / "examples" / "slope_of_a_dem.py", tmp_path)
    slope = found.names["slope"].values
    heights = found.names["dem"].values.astype(float)
    rise = np.hypot(ndimage.sobel(heights, 0), ndimage.sobel(heights, 1)) / 8  # Horn's weights are Sobel's
    inside = np.isfinite(slope) & np.isfinite(rise)
    assert inside.mean() > 0.98 and np.allclose(slope[inside], 100 * rise[inside], atol=1e-3)
    assert 0.005 < found.names["level"] < 0.05  # "only about 1-5 % of real cells are under 0.52 %"
    with rasterio.open(tmp_path / "hillshade.tif") as file:
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG" and file.shape == slope.shape


def test_deciding(tmp_path: Path) -> None:
    found = ran(DOCS / "examples" / "deciding.py", tmp_path).names
    result, turned = found["result"], found["turned"]
    assert found["second"].rank == 2 and found["second"].score == result.choices[1].score
    assert turned.bearing_deg == 60.0 and turned.rank is None and "turned" in turned.notes[0]
    assert found["three"].ranks == (1, 2, 3) and "weight" in found["other"].settings
    assert found["firm"].verdict == result.verdict and not list(tmp_path.iterdir())


def test_layout_and_cost(tmp_path: Path) -> None:
    example = ran(DOCS / "examples" / "layout_and_cost.py", tmp_path)
    found = example.names
    assert len(found["block"].summary["houses"]) == 3
    for option in found["table"].summary["options"]:
        known = sum(item["cost"] for item in option["items"] if item["cost"] is not None)
        assert option["total"] == known > 0 and "road" in option["without_price"]
    written = {path.name for path in (example.folder / "handover").iterdir()}
    assert written >= {"layout.gpkg", "layout.svg", "cost.csv", "report.html", "candidates.geojson"}


def test_after_the_choice(tmp_path: Path) -> None:
    found = ran(DOCS / "examples" / "after_the_choice.py", tmp_path)
    assert found.names["earth"].pictures and found.names["chart"].tables and found.names["stakes"].layers
    assert {path.name for path in tmp_path.iterdir()} == {"sites.gpkg", "grading"}


def test_grading_and_stakes(tmp_path: Path) -> None:
    found = ran(DOCS / "examples" / "grading_and_stakes.py", tmp_path)
    numbers, stakes = found.names["numbers"], found.names["stakes"]
    assert numbers["cut_m3"] > 1 and numbers["side_slopes"]["cut_run_per_rise"] == 4.0 and "caution: " in found.printed
    assert stakes.summary["elevation_model_plan"]["level_m"] == numbers["level_m"]
    sheet = stakes.tables["sheet"]
    assert np.allclose(sheet["cut_m"].dropna(), (sheet["ground_m"] - sheet["finish_m"]).dropna(), atol=2e-4)
    assert {path.suffix for path in found.names["written"].values()} == {".gpkg", ".svg", ".csv", ".json", ".html"}
    assert all(path.is_file() for path in found.names["written"].values())


def test_studies(tmp_path: Path) -> None:
    """The second study runs the first."""
    assert STUDIES == ["county_by_house_size.py", "sensitivity.py"]
    found = ran(DOCS / "studies" / "sensitivity.py", tmp_path)
    screened = pyogrio.read_dataframe(tmp_path / "lots-screened.gpkg", layer="parcels")
    small, large = (screened[f"feasible_{size}"].astype(bool) for size in ("20x48ft", "30x96ft"))
    assert (
        small | ~large
    ).all() and 10 < large.sum() < small.sum() < 36  # "the larger house has less room, never more"
    groups = pyogrio.read_dataframe(tmp_path / "lots-screened.gpkg", layer="groups")
    assert groups.groupby("group")["feasible_share"].is_monotonic_decreasing.all() and len(groups) == 4
    assert {path.name for path in tmp_path.glob("*.svg")} == {
        "lots-screened-groups.svg", "sensitivity-parcels.svg", "sensitivity-spread.svg", "townships.svg",
    }  # fmt: skip
    drawn = pyogrio.read_dataframe(tmp_path / "lots-sensitivity.gpkg", layer="sensitivity").set_index(
        ["house", "drawn"]
    )
    alone = drawn.loc[("30x96ft", "weights")]
    assert alone["feasible_p10"] == alone["feasible"] == alone["feasible_p90"]  # weights reject nothing
    assert "keep room for 30x96ft with ground of 5 % or less" in found.printed
