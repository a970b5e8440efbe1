"""Project files and settings."""

from __future__ import annotations

import os
import pickle
from pathlib import Path

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.core.rubric import Rubric
from tunnelsite.settings.model import Settings, crop_period, keep_out_parts, settings_from
from tunnelsite.settings.project_file import project_settings


def written(folder: Path, text: str) -> Path:
    file = folder / "farm.toml"
    file.write_text(text)
    return file


def test_defaults_are_those_of_the_contract() -> None:
    settings = settings_from({})
    assert settings.clearance_m == pytest.approx(3.6576)
    assert settings.setback_m == 0
    assert settings.bearings == [90.0]
    assert settings.top == 20
    assert settings.pad_pitch == pytest.approx(1 / 192)
    assert crop_period(settings.crop_months) == ((1, 1), (12, 31))


def test_words_become_amounts() -> None:
    settings = settings_from({"setback": "20ft", "house": "20x48ft", "bearing_tolerance": 10, "shrink": "1.2"})
    assert settings.setback_m == pytest.approx(6.096)
    assert settings.bearings == [90, 85, 95, 80, 100]
    assert settings.houses[0].length_m == pytest.approx(14.6304)
    assert settings.shrink == 1.2


def test_bearings_wrap_and_do_not_repeat() -> None:
    assert settings_from({"bearing": 178, "bearing_tolerance": 5}).bearings == [178, 173, 3]
    assert len(settings_from({"bearing_tolerance": 90, "bearing_step": 30}).bearings) == 6


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({"lenght_m": 3}, "lenght_m"),
        ({"setback": "-3 ft"}, "setback"),
        ({"setback": "nan"}, "setback"),
        ({"kind": "glass"}, "kind"),
        ({"top": 0}, "top"),
        ({"top": "many"}, "top"),
        ({"crop_months": "10-01"}, "crop months"),
        ({"crop_months": "13-01:01-01"}, "crop months"),
        ({"house": []}, "house"),
        ({"shrink": 0.5}, "shrink"),
        ({"weight": {"sun": -1}}, "sun"),
        ({"elevation_unit": "yards"}, "elevation_unit"),
        ({"service": "water.gpkg"}, "service"),
        ({"setback": "0,5"}, "0.5"),
    ],
)
def test_wrong_settings_are_named(given: dict, word: str) -> None:
    with pytest.raises(UsageError) as error:
        settings_from(given)
    assert word in str(error.value)


def test_expectations_are_in_plain_words() -> None:
    """What is wrong is found by a library, but told in the words of this project."""
    for given, words in (
        ({"kind": "glass"}, "Expected: in-ground or container"),
        ({"top": "many"}, "Expected: a whole number from 1 to 10000"),
        ({"top": 2.5}, "Expected: a whole number"),
        ({"top": True}, "Expected: a whole number"),
        ({"band": 0}, "Expected: a whole number from 1 to 65535"),
        ({"azimuths": "1e9"}, "Expected: a whole number from 8 to 720"),
        ({"dem": 5}, "dem is 5. Expected: text"),
        ({"overwrite": "perhaps"}, "Expected: true or false"),
        ({"service": "water.gpkg"}, "Expected: a table of NAME = VALUE"),
        ({"weight": {"sun": "much"}}, "sun of weight is 'much'. Expected: a number"),
        ({"service": {"wa ter": "w.gpkg"}}, "the service name is 'wa ter'"),
        ({"service": {"1st": "w.gpkg"}}, "the service name is '1st'"),
    ):
        with pytest.raises(UsageError) as error:
            settings_from(given)
        assert words in str(error.value), (given, str(error.value))
        assert "nput should" not in str(error.value)


def test_a_wrong_value_in_a_file_names_its_line(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"farm\.toml:2: setback is '-1 m'"):
        project_settings(written(tmp_path, 'top = 3\nsetback = "-1 m"\n'))
    with pytest.raises(UsageError, match=r"farm\.toml:1: top is 'x'"):
        project_settings(written(tmp_path, 'top = "x"\n'))


def test_a_project_that_is_no_plain_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe", "a\0b", "x" * 5000):
        with pytest.raises(UsageError) as error:
            project_settings(path)
        assert len(str(error.value)) < 1500
    with pytest.raises(UsageError):  # more digits than Python reads
        project_settings(written(tmp_path, "top = " + "9" * 5000 + "\n"))


def test_unknown_key_in_a_file_names_line_and_suggestion(tmp_path: Path) -> None:
    file = written(tmp_path, 'dem = "d.tif"\n\nsetbak = "20ft"\n')
    with pytest.raises(UsageError, match=r"farm\.toml:3: unknown setting 'setbak'.*did you mean 'setback'"):
        project_settings(file)


def test_doubled_key_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"farm\.toml"):
        project_settings(written(tmp_path, "top = 1\ntop = 2\n"))


@pytest.mark.parametrize("text", ["!!python/object:os.system {}", "a = [" * 5000, "\x00\x01", "top = "])
def test_what_is_no_toml_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(UsageError):
        project_settings(written(tmp_path, text))


def test_missing_project_file() -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        project_settings("/nowhere/farm.toml")


def test_paths_are_seen_from_the_file(tmp_path: Path) -> None:
    file = written(tmp_path, 'dem = "d.tif"\nkeep_out = ["w.gpkg@3m"]\n[service]\nwater = "w.gpkg"\n')
    values, lines = project_settings(file)
    assert values["dem"] == str(tmp_path / "d.tif")
    assert values["keep_out"] == [str(tmp_path / "w.gpkg@3m")]
    assert values["service"] == {"water": str(tmp_path / "w.gpkg")}
    assert lines["dem"] == 1


@pytest.mark.parametrize("line", ['out = "../../../x.gpkg"', "overwrite = true", 'keep = "k.npz"', 'rasters = "."'])
def test_what_is_written_and_replaced_is_for_the_command_line_alone(tmp_path: Path, line: str) -> None:
    with pytest.raises(UsageError, match=r"farm\.toml:2: \w+ is set in a project file.*command line alone"):
        project_settings(written(tmp_path, f"top = 3\n{line}\n"))


def test_every_wrong_setting_is_told_at_once(tmp_path: Path) -> None:
    text = 'top = 0\nsetbak = "1m"\nsetback = "-1m"\nkind = "glass"\n'
    with pytest.raises(UsageError) as error:
        project_settings(written(tmp_path, text))
    said = str(error.value)
    assert said.startswith("4 settings are wrong: (1) ")
    for words in (
        "toml:2: unknown setting 'setbak'",
        "toml:1: top is",
        "toml:3: setback is",
        "toml:4: kind is 'glass'",
    ):
        assert words in said
    with pytest.raises(UsageError, match="; and 3 more"):
        settings_from({f"wrong{k}": 1 for k in range(8)})


def test_keep_out_distance() -> None:
    assert keep_out_parts("lines.gpkg@10m") == ("lines.gpkg", 10.0)
    assert keep_out_parts("wet.gpkg") == ("wet.gpkg", 0.0)
    with pytest.raises(UsageError):
        keep_out_parts("lines.gpkg@far")


def test_rubric_changes() -> None:
    built_in = Rubric(1.0, 0.0, limit=0.2, weight=3.0, source="x")
    settings = settings_from({"rubric": {"sun": {"none_at": 0.5, "limit": "none"}}, "weight": {"sun": 2}})
    changed = settings.rubric_for("sun", built_in)
    assert (changed.full_at, changed.none_at, changed.limit, changed.weight) == (1.0, 0.5, None, 2.0)
    assert changed.source == "set in the project"
    with pytest.raises(UsageError, match="did you mean 'limit'"):
        settings_from({"rubric": {"sun": {"limt": 1}}}).rubric_for("sun", built_in)


def test_plural_names_are_refused_with_the_name_of_today() -> None:
    """A table of a project file is named as its option, one entry of which it holds."""
    with pytest.raises(UsageError) as problem:
        settings_from({"weights": {"sun": 2}, "services": {"water": "w.gpkg"}, "rubrics": {}})
    assert all(f"did you mean {name!r}" in str(problem.value) for name in ("weight", "service", "rubric"))


def test_a_house_is_as_high_in_python_as_in_the_settings() -> None:
    assert House(9.0, 29.0).ridge_m == settings_from({"house": ["9x29m"]}).houses[0].ridge_m == pytest.approx(3.6576)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"crop_month": "Oct:Apr"}, "unknown setting 'crop_month'.*did you mean 'crop_months'"),
        ({"kind": "pot"}, "kind is 'pot'. Expected: in-ground or container"),
        ({"dem": 3}, "dem is 3. Expected: text"),
        ({"dem": 3, "kind": "pot"}, r"2 settings are wrong: \(1\) dem is 3.*\(2\) kind is 'pot'"),
        ({"setback": "-3m"}, "setback is '-3m'"),
    ],
)
def test_python_is_answered_as_the_command_line(given: dict, told: str) -> None:
    """A study that builds its settings reads what is wrong and what to do, not the words of the library that checks types."""
    with pytest.raises(UsageError, match=told) as found:
        Settings(**given)
    assert str(pickle.loads(pickle.dumps(found.value))) == str(found.value)  # a worker hands it back
