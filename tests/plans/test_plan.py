"""A plan as a value: what it shows and what it writes."""

from __future__ import annotations

import json
import pickle

import geopandas
import pytest
import shapely
from pyproj import CRS

from tunnelsite.core.errors import OutputFailed
from tunnelsite.core.table import REAL, TEXT, Column, Heading, Places, Table, table_of
from tunnelsite.plans.plan import Lineage, Plan, named_files

UTM = CRS.from_epsg(32617)
STAKES = table_of(
    "stakes", "stakes", {"cut_m": Heading(REAL, "cut", "m"), "label": Heading(TEXT)},
    [{"cut_m": 0.5, "label": "a"}, {"cut_m": float("nan"), "label": "b"}],
    Places([shapely.Point(700_000, 4_700_000), shapely.Point(700_001, 4_700_000)], "Point", UTM),
)  # fmt: skip
RUN = table_of("run", "run", {"kind": Heading(TEXT), "name": Heading(TEXT)}, [{"kind": "note", "name": "n"}])
HOURS = Table(
    {
        "hours": Column([1.5, None], "REAL"),
        "count": Column([1, None], "INTEGER"),
        "clear": Column([True, False], "BOOLEAN"),
        "what": Column(["=x", None], "TEXT"),
    }
)
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="4" height="4"><rect width="4" height="4"/></svg>'


def plan() -> Plan:
    return Plan(
        "example", "Candidate 1", {"cut_m3": 2.5, "rows": [1]}, {"map": SVG}, {"hours": HOURS}, (STAKES, RUN),
        Lineage(UTM, "An example.", {"dem.tif": "00"}), ("a note",), ("a caution <b>",), "example",
        {"layers": ".gpkg", "map": "-map.svg", "hours": "-hours.csv", "summary": ".json"},
    )  # fmt: skip


def test_layers_and_tables_keep_their_types_and_what_is_not_known() -> None:
    layers, tables = plan().layers, plan().tables
    assert list(layers) == ["stakes"] and layers["stakes"].crs == UTM
    assert layers["stakes"].cut_m.isna().tolist() == [False, True]
    assert set(tables) == {"hours", "run"}
    assert tables["hours"].dtypes.astype(str).tolist() == ["Float64", "Int64", "boolean", "string"]
    assert tables["hours"].isna().sum().tolist() == [1, 1, 0, 1]


def test_it_says_shortly_what_it_is_and_can_be_pickled() -> None:
    assert repr(plan()) == "<Plan example: Candidate 1; 1 picture, 1 layer, 1 table>"
    assert "a caution &lt;b&gt;" in plan()._repr_html_() and "cut_m3" in plan()._repr_html_()
    assert pickle.loads(pickle.dumps(plan())).summary == plan().summary


def test_it_writes_the_files_it_names(tmp_path) -> None:
    folder = tmp_path / "new" / "folder"
    paths = plan().write(folder)
    assert paths == named_files(folder / "example", plan().files)
    assert {path.name for path in folder.iterdir()} == {path.name for path in paths.values()}
    assert len(geopandas.read_file(paths["layers"], layer="stakes")) == 2
    assert paths["map"].read_text() == SVG and paths["hours"].read_text().splitlines()[1] == "1.5,1,True,'=x"
    told = json.loads(paths["summary"].read_text())
    assert told["cut_m3"] == 2.5 and told["outputs"]["map"] == str(paths["map"])


def test_nothing_is_written_where_one_file_is_there(tmp_path) -> None:
    (tmp_path / "example-hours.csv").write_text("mine")
    with pytest.raises(OutputFailed, match="exists"):
        plan().write(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["example-hours.csv"]
    plan().write(tmp_path, overwrite=True)
    assert (tmp_path / "example-hours.csv").read_text() != "mine"


def test_a_picture_is_also_written_as_png(tmp_path) -> None:
    pytest.importorskip("resvg_py")
    plan().write_to({"map_png": tmp_path / "m.png"})
    assert (tmp_path / "m.png").read_bytes().startswith(b"\x89PNG")
