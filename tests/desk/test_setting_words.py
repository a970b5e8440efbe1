"""Settings and criteria are named as the page names them, by no key and no id."""

from __future__ import annotations

import pytest

from tests.desk.fields import field_project
from tunnelsite.core import catalogue
from tunnelsite.desk.runs import change_words, differences
from tunnelsite.desk.setting_fields import weight_entries
from tunnelsite.desk.setting_words import in_titles, setting_title
from tunnelsite.settings.field import fields_of
from tunnelsite.settings.model import Settings


def test_what_differs_between_two_runs_is_told_in_words() -> None:
    before = {"house": ["30x96ft"], "crop_months": "10-01:04-30", "weight": {"sun": 3}, "whole": False}
    after = {
        "house": ["20x48ft", "9x29m"],
        "weight": {"sun": 1, "reach_water": 2},
        "whole": True,
        "drawn": "drawn.gpkg",
    }
    told = change_words(differences(before, after))
    assert told == [
        "Size: 30 × 96 ft → 20 × 48 ft, 9 × 29 m",
        "Crop months: 1 Oct to 30 Apr → not set",
        "Weight of “Sun in the darkest crop month”: 3 → 1",
        "Whole: no → yes",
        "Weight of “Reach of water”: not set → 2",
    ]


@pytest.mark.parametrize(
    "name", [name for field in fields_of(Settings) for name in dict.fromkeys((field.key, field.name))]
)
def test_no_setting_is_called_by_its_key(name: str) -> None:
    assert "_" not in setting_title(name)


def test_no_help_of_a_weight_names_an_id(tmp_path) -> None:
    ids = [one.id for one in catalogue.criteria(lambda text: None)]
    helps = [entry.help for entry in weight_entries(field_project(tmp_path).settings())]
    assert helps and not [text for text in helps for one in ids if f"`{one}`" in text]
    assert in_titles("beside `sun`, not `noted`") == "beside “Sun in the darkest crop month”, not `noted`"
