"""What is said of presets: what is in force, and what was overridden."""

from __future__ import annotations

from tunnelsite.settings.model import settings_from
from tunnelsite.settings.preset_words import preset_notes
from tunnelsite.settings.presets import presets


def test_alone_a_preset_is_in_force_as_a_whole() -> None:
    for name in presets():
        (note,) = preset_notes(settings_from({"preset": name}))
        assert note.startswith(f"preset {name}: in force: ") and "overridden" not in note
    assert preset_notes(settings_from({})) == []


def test_a_preset_that_changes_nothing_says_so() -> None:
    its = presets()["summer-north"].settings
    other = dict.fromkeys(its["weight"], 9.0)
    given = {"preset": "summer-north", "crop_months": "10-01:04-30", "weight": other}
    given |= {"bearing": 45} if "bearing" in its else {}
    (note,) = preset_notes(settings_from(given))
    assert (
        note.startswith("preset summer-north changes nothing; overridden")
        and "10-01:04-30 instead of 04-01:10-31" in note
    )


def test_a_later_preset_overrides_an_earlier_one() -> None:
    first, second = preset_notes(settings_from({"preset": "winter-north,summer-north"}))
    assert "crop months (04-01:10-31 instead of 10-01:04-30)" in first and "overridden" not in second
