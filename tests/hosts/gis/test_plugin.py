"""The tools inside QGIS, without a window: where its Python package is installed (Debian: python3-qgis)."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from tests.io.formats.test_geopackage import write
from tunnelsite.hosts.cli.gis_plugin import FOLDER, plugin_files
from tunnelsite.hosts.cli.main import main

PYTHON = "/usr/bin/python3"
CLEAN = {"PATH": "/usr/bin:/bin", "QT_QPA_PLATFORM": "offscreen", "HOME": "/tmp"}
TRY = """
import json, sys
sys.path[:0] = [sys.argv[1], "/usr/share/qgis/python/plugins"]
from qgis.core import QgsApplication, QgsProcessingContext, QgsProcessingFeedback, QgsProject
program = QgsApplication([], False)
program.initQgis()
import tunnelsite_tools
plugin = tunnelsite_tools.classFactory(None)
plugin.initProcessing()
registry = QgsApplication.processingRegistry()
tools = {tool.name(): tool for tool in registry.providerById("tunnelsite").algorithms()}
context = QgsProcessingContext()
context.setProject(QgsProject.instance())

class Heard(QgsProcessingFeedback):
    lines = []
    stop = False

    def pushInfo(self, text):
        self.lines.append(text)

    def isCanceled(self):
        return self.stop

heard = Heard()
answer, good = tools["run_slope"].run({"input": sys.argv[2], "output": sys.argv[3], "as_unit": "deg"}, context, heard)
refused, bad = tools["run_slope"].run({"input": sys.argv[2], "output": sys.argv[3], "band": "7"}, context, heard)
heard.stop = True
stopped, ended = tools["run_slope"].run({"input": sys.argv[2], "output": sys.argv[4]}, context, heard)
fields = {name: [field.type() for field in tool.parameterDefinitions()] for name, tool in tools.items()}
titles = {name: [field.description() for field in tool.parameterDefinitions()] for name, tool in tools.items()}
from tunnelsite_tools.tool import _load
_load(sys.argv[5], context)
layers = [details.name for details in context.layersToLoadOnCompletion().values()]
print(json.dumps({"good": good, "bad": bad, "ended": ended, "fields": fields, "lines": heard.lines, "layers": layers,
                  "titles": titles}))
plugin.unload()
"""


def has_qgis() -> bool:
    if not Path(PYTHON).exists():
        return False
    return subprocess.run([PYTHON, "-c", "import qgis.core"], env=CLEAN, capture_output=True).returncode == 0


def test_a_folder_of_plug_ins(tmp_path: Path, capsys) -> None:
    assert main(["gis-plugin", "--install", str(tmp_path / "plugins")]) == 2  # a slip of the pen makes no folder
    assert not (tmp_path / "plugins").exists()
    (tmp_path / "plugins").mkdir()
    assert main(["gis-plugin", "--install", str(tmp_path / "plugins")]) == 0
    there = tmp_path / "plugins" / FOLDER
    assert {path.name for path in there.iterdir()} == plugin_files().keys()
    assert json.loads((there / "program.json").read_text())["command"] == [sys.executable, "-m", "tunnelsite"]
    assert "Start QGIS again" in capsys.readouterr().out


def test_a_zip_file_and_the_wrong_words(tmp_path: Path, capsys) -> None:
    assert main(["gis-plugin", "--zip", str(tmp_path / "tools.zip")]) == 0
    with zipfile.ZipFile(io.BytesIO((tmp_path / "tools.zip").read_bytes())) as archive:
        assert f"{FOLDER}/metadata.txt" in archive.namelist() and archive.testzip() is None
    assert main(["gis-plugin", "--zip", str(tmp_path / "tools.zip")]) == 2  # there already
    assert main(["gis-plugin"]) == 2 and "--install DIR or --zip FILE" in capsys.readouterr().err


def test_tools_in_the_toolbox(tmp_path: Path) -> None:
    if not has_qgis():
        pytest.skip("QGIS (Debian's python3-qgis) is not installed here")
    main(["gis-plugin", "--install", str(tmp_path)])
    dem, slope, none = (str(tmp_path / name) for name in ("dem.tif", "slope.tif", "none.tif"))
    east = np.broadcast_to(np.arange(40.0, dtype=np.float32), (30, 40))
    with rasterio.open(
        dem, "w", driver="GTiff", width=40, height=30, count=1, dtype="float32", crs="EPSG:32617",
        transform=from_origin(5e5, 4.7e6, 1, 1),
    ) as out:  # fmt: skip
        out.write(east * np.float32(0.05), 1)
        out.units = ("m",)
    sites = tmp_path / "sites.gpkg"
    write(sites)
    asked = [PYTHON, "-c", TRY, str(tmp_path), dem, slope, none, str(sites)]
    run = subprocess.run(asked, env=CLEAN | {"PYTHONPATH": ""}, capture_output=True, text=True, timeout=300)
    assert run.returncode == 0, run.stderr[-1500:]
    found = json.loads(run.stdout.splitlines()[-1])
    assert found["good"] and not found["bad"] and not found["ended"] and not os.path.exists(none)
    with rasterio.open(slope) as layer:
        assert np.nanmax(np.abs(layer.read(1, masked=True) - np.degrees(np.arctan(0.05)))) < 1e-4
    assert any("slope" in line for line in found["lines"])
    assert {"screen", "grading", "report", "run_slope"} <= found["fields"].keys()
    assert found["fields"]["screen"].count("raster") == 3 and "point" in found["fields"]["explain"]
    shown = [
        f"{sites.stem}: {layer}" for layer in ("candidates", "pads", "stakes")
    ]  # two plans have layers of one name
    assert sorted(found["layers"]) == shown  # neither tables nor a layer without features
    assert found["titles"]["grading"][:2] == ["Screening", "Rank of the candidate"]  # what a plan is usually made of
