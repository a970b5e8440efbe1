"""Settings on the report page: their titles, rounded values in the user's units, criteria by their names."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from tests.scan.grounds import hills, site
from tunnelsite import screen
from tunnelsite.core.house import House
from tunnelsite.report.page_record import record_sections
from tunnelsite.report.settings_shown import shown_settings
from tunnelsite.screening.kept_run import keep_run, kept_run
from tunnelsite.settings.model import settings_from

GIVEN = {
    "halo": 15, "azimuths": 8, "top": 3, "crop_months": "10-01:04-30", "clearance": "12ft", "setback": "20ft", "bearing": 90,
    "bearing_tolerance": 10, "bearing_step": 10, "weight": {"noon": 0.5}, "structures": "/data/farm/barn.gpkg",
    "rubric": {"deepest_cut": {"limit": 0.3048, "weight": 3}}, "parameter": {"flow_beside": {"reach_m": 7.62}},
}  # fmt: skip


@pytest.fixture(scope="module")
def result():
    settings = settings_from(GIVEN)
    return screen(
        site(hills(60, 70, 3)),
        House.parse("20x40ft", "in-ground"),
        settings=settings.model_copy(update={"structures": None}),
    )


def test_settings_are_told_by_title_and_rounded_in_the_users_units(result):
    told = {one.title: one.words for one in shown_settings(replace(result, settings=settings_from(GIVEN)))}
    assert told["Clearance"] == "12 ft (3.66 m)" and told["Setback"] == "20 ft (6.10 m)"
    assert told["Ridge bearing"] == "east-west" and told["Bearings either side"] == "10°"
    assert told["Crop months"] == "1 Oct to 30 Apr" and told["Pitch of the pad"] == "1/192"
    assert told["Weights"] == "Noon sun in midwinter 0.5"
    assert told["Marks"] == "Deepest cut: rejects beyond 1 ft (30 cm), weight 3"
    assert told["Parameters"].startswith(
        "Water that passes beside the pad: how far from the pad's edge water counts 25 ft"
    )
    assert told["Structures"] == "barn.gpkg"
    assert not [words for words in told.values() if re.search(r"\d\.\d{4,}", words)]


def test_every_setting_has_words(result):
    """Whatever is set: a title of its own, and words that hold no Python."""
    given = {"surface": "s.tif", "service": {"water": "w.gpkg"}, "bare_trees": "never", "price": {"road": "12/m"}, "wind_from": 280,
             "keep_out": ["a.gpkg@10m"], "layer": {"soil_ph": "ph.tif"}, "around": "43.0,-78.1:400m", "whole": True}  # fmt: skip
    full = settings_from(given)
    shown = shown_settings(replace(result, settings=full))
    assert len({one.title for one in shown}) == len(shown) > 20
    assert not [one for one in shown if not one.words or re.search(r"[{}\[\]]|None|True|False", one.words)]


def test_the_record_of_the_page_holds_no_rule_ids(result):
    text = "".join("".join(section.itertext()) for section in record_sections(result))
    assert "Clearance" in text and "clearance_m" not in text and "3.6576" not in text
    assert not re.search(r"\b(deepest_cut|water_like|no_data|keep_out:|bearing_tolerance_deg|pad_pitch)\b", text)


def test_curves_and_limits_of_classes_and_shares_are_told_in_words(result, tmp_path):
    """Of a kept run too, which does not hold the words of its criteria."""
    keep_run(result, tmp_path / "run.npz")
    for one in (result, kept_run(tmp_path / "run.npz")):
        criteria, rejections, _ = record_sections(one)
        rows = {cells[0]: cells for row in criteria.iter("tr") if (cells := ["".join(cell.itertext()) for cell in row])}
        assert rows["Sun in the darkest crop month"][1:4] == ["98 %", "60 %", "–"]
        assert rows["Looks like open water"][1:4] == ["–", "–", "–"]
        assert rows["Deepest cut"][3] == "1 ft (0.3048 m)"
        assert "No other option is in everything at least as good as " in "".join(criteria.itertext())
        assert "Whatever" not in "".join(rejections.itertext())
