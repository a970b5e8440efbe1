"""Presets: settings under a name, which whatever is given besides wins over."""

from __future__ import annotations

import pytest

from tests.scan.grounds import hills, site
from tunnelsite.core import catalogue
from tunnelsite.core.errors import UsageError
from tunnelsite.core.sources import keys_of
from tunnelsite.screening.judges import judges_of
from tunnelsite.settings.model import settings_from
from tunnelsite.settings.presets import presets, with_presets


@pytest.mark.parametrize("name", presets())
def test_every_preset_is_a_whole_set_of_settings_with_its_source(name):
    preset = presets()[name]
    assert preset.title and keys_of(preset.source)
    settings = settings_from({"preset": name})
    known = {criterion.id: criterion for criterion in catalogue.criteria()}
    assert set(settings.weight) | set(settings.rubric) <= known.keys()
    for criterion_id in {*settings.weight, *settings.rubric}:
        for kind in ("in-ground", "container"):
            rubric = settings.rubric_for(criterion_id, known[criterion_id].rubric(kind))
            assert rubric.source and rubric.weight == settings.weight.get(criterion_id, rubric.weight)


def test_what_is_given_wins_over_presets_and_later_ones_over_earlier_ones():
    settings = settings_from(
        {"preset": ["winter-north", "snow-country"], "crop_months": "11-01:02-28", "weight": {"sun": 9, "noon": 1}}
    )
    assert settings.preset == ["winter-north", "snow-country"]
    assert settings.crop_months == "11-01:02-28" and "bearing" not in presets()["winter-north"].settings
    assert settings.weight == {
        "sun": 9,
        "noon": 1,
        "cold_air": 1.0,
        "low_ground": 1.0,
        "wind": 1.5,
        "snow_room": 1.5,
        "windbreak": 1.0,
    }
    assert settings_from({"preset": "winter-north, summer-north"}).crop_months == "04-01:10-31"
    part = settings_from({"preset": "snow-country", "rubric": {"snow_room": {"none_at": 5.0}}}).rubric["snow_room"]
    assert part["none_at"] == 5.0 and part["full_at"] == 6.096


def test_nothing_changes_without_a_preset_and_unknown_ones_are_refused():
    assert with_presets({"top": 3}) == {"top": 3} and settings_from({}).preset == []
    with pytest.raises(UsageError, match="did you mean 'winter-north'"):
        settings_from({"preset": "winter-nort"})


def test_a_kept_run_reads_its_presets_back():
    settings = settings_from({"preset": "summer-south", "weight": {"sun": 1.0}})
    again = type(settings)(**settings.model_dump(by_alias=True, mode="json", exclude_none=True))
    assert again == settings


def test_a_preset_does_not_ask_for_inputs_but_says_what_it_could_not_weigh():
    said: list[str] = []
    ground = site(hills(30, 40, 1))
    judges = judges_of(ground, settings_from({"preset": "short-day-crops,winter-north"}), "in-ground", said.append)
    assert not {"wind", "night_light"} & {judge.id for judge in judges}
    assert any("night_light has a weight, but it needs lamps: not assessed" in text for text in said)
    assert next(judge.rubric.weight for judge in judges if judge.id == "sun") == 4.0
    with pytest.raises(UsageError, match="needs lamps"):
        judges_of(ground, settings_from({"preset": "short-day-crops", "weight": {"night_light": 3}}), "in-ground")
