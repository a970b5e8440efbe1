"""One house in five formats: the same cut or fill at every stake, the same sign, and the cautions on each of them."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ElementTree

import pytest

from tests.io.stake_sheet_example import example_sheet
from tunnelsite.core.stake_sheet import on_grade
from tunnelsite.core.units import FOOT_M, feet_inches
from tunnelsite.io.formats.stake_dxf import stake_dxf
from tunnelsite.io.formats.stake_page import page_html
from tunnelsite.io.formats.stake_sheets import stake_geojson, stake_gpx, write_stake_sheet

NS = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module", params=["30x96ft", "9x29m"])
def sheet(request):
    return example_sheet(size=request.param)


def signed(kind: str, amount: str) -> float:
    return float(amount) * (1 if kind.lower().startswith("c") else -1)


def csv_rows(sheet, tmp_path) -> dict[str, dict[str, str]]:
    write_stake_sheet(tmp_path / "s.csv", sheet)
    rows = csv.DictReader(io.StringIO((tmp_path / "s.csv").read_text("utf-8-sig")))
    return {row["label"]: row for row in rows}


def test_cut_and_fill_are_the_same_everywhere(sheet, tmp_path) -> None:
    """Cut is + and means the ground is higher than the finished pad (the sheet's own words); to the last digit shown."""
    wanted = {point.label: point for point in sheet.points if point.cut_m is not None}
    assert (
        min(point.cut_m for point in wanted.values()) < -0.05 and max(point.cut_m for point in wanted.values()) > 0.05
    )
    rows = csv_rows(sheet, tmp_path)
    features = {
        one["properties"]["label"]: one["properties"] for one in json.loads(stake_geojson(sheet))["features"][1:]
    }
    gpx = {
        one.findtext(f"{NS}name"): one.findtext(f"{NS}desc")
        for one in ElementTree.fromstring(stake_gpx(sheet)).iter(f"{NS}wpt")
    }
    drawn = dict(re.findall(r"\n *1\n(.+?) ([CF] [\d.]+ .+)\n", stake_dxf(sheet).decode().replace("\r", "")))
    page = page_html(sheet)
    for label, point in wanted.items():
        cut = point.cut_m
        assert cut == pytest.approx(point.ground_m - point.finish_m)
        assert float(rows[label]["cut_m"]) == pytest.approx(cut, abs=5.1e-5)
        assert features[label]["cut_m"] == pytest.approx(cut, abs=5.1e-5)
        kind, metres = re.match(r"(cut|fill) .*?([\d.]+) m", gpx[label]).groups()
        assert signed(kind, metres) == pytest.approx(cut, abs=5.1e-4)
        if point.kind != "post":
            letter, amount = re.match(r"([CF]) (.+)", drawn[label]).groups()
            assert signed(letter, re.search(r"([\d.]+) m", amount)[1]) == pytest.approx(cut, abs=5.1e-4)
            shown = re.search(rf"<td>{re.escape(label)}</td>.*?</tr>", page)[0]
            letters = re.findall(r">([CF]) ([^<]+)</td>", shown)
            if not on_grade(cut, feet=sheet.feet):
                inches, metres = letters if sheet.feet else letters[::-1]  # the crew's own unit first
                assert signed(*metres) == pytest.approx(cut, abs=5.1e-4)
                assert inches == ("C" if cut >= 0 else "F", feet_inches(abs(cut), 8))
        if sheet.feet:
            assert float(rows[label]["cut_ft"]) == pytest.approx(cut / FOOT_M, abs=5.1e-4)
            assert features[label]["cut_ft"] == pytest.approx(cut / FOOT_M, abs=5.1e-4)
            assert gpx[label].split()[1:3] == [f"{abs(cut) / FOOT_M:.2f}", "ft"]  # the crew's own unit first
            assert point.kind == "post" or f"{abs(cut) / FOOT_M:.2f} ft" in drawn[label]
        else:
            assert "ft" not in gpx[label] and "cut_ft" not in features[label] and "cut_ft" not in rows[label]


def test_every_paper_says_to_have_buried_lines_located_and_to_look_up(sheet, tmp_path) -> None:
    """One call (811 in the United States) before digging; 29 CFR 1926.1408 is why machines keep off overhead lines."""
    for text in (stake_gpx(sheet), stake_geojson(sheet), page_html(sheet), stake_dxf(sheet).decode()):
        assert "buried lines located and marked" in text and "811" in text
        assert "own pipes and cables" in re.sub(r"\s+", " ", text)
        assert "overhead lines" in text
    for row in csv_rows(sheet, tmp_path).values():
        assert "buried lines located and marked" in row["care"] and "overhead lines" in row["care"]
