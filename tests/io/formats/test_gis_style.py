"""The style once more, as QGIS reads it: rule by rule that of the SLD; where QGIS is installed, it applies and draws it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from tests.io.formats.test_geopackage import write
from tunnelsite.io.formats import plan_styles, styles
from tunnelsite.io.formats.gis_style import gis_style

DOCUMENTS = {
    "candidates": styles.candidates_sld([80, 85, 90]),
    "pads": styles.pads_sld(),
    "compromises": styles.compromises_sld(),
    "stakes": styles.stakes_sld(),
    "rejections": styles.rejections_sld(),
    **plan_styles.plan_styles(),
    **plan_styles.layout_styles([90.0]),
}
DRAW = """
import json, sys
from qgis.core import QgsApplication, QgsMapRendererParallelJob, QgsMapSettings, QgsVectorLayer
from qgis.PyQt.QtCore import QSize
program = QgsApplication([], False)
program.initQgis()
layer = QgsVectorLayer(sys.argv[1] + "|layername=candidates", "candidates", "ogr")
words, applied = layer.loadDefaultStyle()
settings = QgsMapSettings()
settings.setLayers([layer])
settings.setOutputSize(QSize(400, 300))
settings.setDestinationCrs(layer.crs())
settings.setExtent(layer.extent())
job = QgsMapRendererParallelJob(settings)
job.start()
job.waitForFinished()
picture = job.renderedImage()
colours = {picture.pixelColor(x, y).name() for x in range(400) for y in range(300)}
rules = [rule.label() for rule in layer.renderer().rootRule().children()]
print(json.dumps({"applied": applied, "rules": rules, "colours": sorted(colours), "labels": layer.labelsEnabled()}))
"""


@pytest.mark.parametrize("name", DOCUMENTS)
def test_as_many_rules_with_the_same_titles_and_colours(name: str) -> None:
    document, found = DOCUMENTS[name], ElementTree.fromstring(gis_style(DOCUMENTS[name]))
    titles = re.findall(r"<sld:Rule>\s*<sld:Name>.*?</sld:Name>\s*<sld:Title>(.*?)</sld:Title>", document)
    assert [rule.get("label") for rule in found.iter("rule")] == titles
    drawn = {tuple(int(part) for part in str(one.get("v")).split(",")[:3]) for one in found.iter("prop") if "color" in str(one.get("k"))}  # fmt: skip
    wanted = {tuple(int(code[k : k + 2], 16) for k in (0, 2, 4)) for code in re.findall(r"#([0-9a-f]{6})", document)}
    assert wanted - {(255, 255, 255), (26, 26, 26)} <= drawn
    assert found.get("labelsEnabled") == str(int("TextSymbolizer" in document))


def test_classes_of_a_column_become_conditions() -> None:
    found = ElementTree.fromstring(gis_style(DOCUMENTS["candidates"]))
    assert [rule.get("filter") for rule in found.iter("rule")] == [
        '"score" >= 85 AND "score" <= 90',
        '"score" >= 80 AND "score" < 85',
        '"score" IS NULL',
    ]
    kinds = [rule.get("filter") for rule in ElementTree.fromstring(gis_style(DOCUMENTS["stakes"])).iter("rule")]
    assert kinds[0] == "\"kind\" = 'corner'" and kinds[-1] == "ELSE"


def test_a_filter_that_is_not_ours_is_refused() -> None:
    with pytest.raises(ValueError, match="PropertyIsLike"):
        gis_style(DOCUMENTS["stakes"].replace("PropertyIsEqualTo", "PropertyIsLike"))


def test_qgis_applies_it_by_itself(tmp_path: Path) -> None:
    python = shutil.which("python3", path="/usr/bin") or "python3"
    clean = {"PATH": "/usr/bin:/bin", "QT_QPA_PLATFORM": "offscreen", "HOME": "/tmp"}
    if subprocess.run([python, "-c", "import qgis.core"], env=clean, capture_output=True).returncode:
        pytest.skip("QGIS (Debian's python3-qgis) is not installed here")
    sites = tmp_path / "sites.gpkg"
    write(sites)
    run = subprocess.run([python, "-c", DRAW, str(sites)], env=clean, capture_output=True, text=True, timeout=120)
    assert run.returncode == 0, run.stderr[-800:]
    found = json.loads(run.stdout.splitlines()[-1])
    assert found["applied"] and found["labels"] and found["rules"][-1] == "No score"
    assert len(found["colours"]) > 20  # fills, outlines and halos, not one plain colour
