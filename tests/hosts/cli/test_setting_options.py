"""Options made from the settings: one for every setting, tables by pairs, former names refused, a beginning without a command."""

from __future__ import annotations

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.arguments import parsed
from tunnelsite.hosts.cli.main import main
from tunnelsite.hosts.cli.options import COMMANDS, parser
from tunnelsite.hosts.cli.setting_options import POSITIONAL, given_settings
from tunnelsite.settings.field import fields_of
from tunnelsite.settings.model import Settings, settings_from


def _screen(*words: str) -> dict:
    return given_settings(parsed(parser("screen"), ["screen", *words]), Settings)


def test_every_setting_has_an_option_that_says_what_it_is(capsys) -> None:
    assert main(["screen", "--help"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    for field in fields_of(Settings):
        assert (field.key.upper() if field.key in POSITIONAL else f"{field.option} ") in told, field.key
    assert "(default 12 ft)" in told and "(default: one house length)" in told


def test_settings_that_had_no_option() -> None:
    settings = settings_from(_screen("--standing-limit", "2ft", "--pad-pitch", "1 %", "--light-height", "3ft"))
    assert settings.standing_limit_m == pytest.approx(0.6096) and settings.pad_pitch == 0.01
    assert settings.light_height_m == pytest.approx(0.9144)


def test_tables_are_given_by_pairs_over_those_of_the_project() -> None:
    given = parsed(
        parser("screen"), ["screen", "--weight", "sun=3", "--rubric", "sun.limit=none", "--rubric", "sun.full_at=1"]
    )
    base = {"weight": {"sun": 1, "pitch": 2}, "rubric": {"sun": {"none_at": 0.5}}}
    assert given_settings(given, Settings, base) == {
        "weight": {"sun": 3.0, "pitch": 2},
        "rubric": {"sun": {"none_at": 0.5, "limit": "none", "full_at": 1.0}},
    }
    assert base["rubric"] == {"sun": {"none_at": 0.5}}  # what was read stays as it is
    assert _screen("--parameter", "sun.low=true") == {"parameter": {"sun": {"low": True}}}


@pytest.mark.parametrize(("option", "value"), [("--rubric", "sun=3"), ("--weight", "sun"), ("--parameter", ".x=3")])
def test_a_pair_that_is_none_is_refused(option: str, value: str) -> None:
    with pytest.raises(UsageError, match=option):
        _screen(option, value)


@pytest.mark.parametrize(
    ("command", "old", "new"),
    [
        ("grading", "--height-error", "--elevation-error"),
        ("robustness", "--error-length", "--error-range"),
        ("screen", "--weights", "--weight"),
        ("screen", "--services", "--service"),
    ],
)
def test_a_former_name_is_refused_with_the_name_of_today(capsys, command: str, old: str, new: str) -> None:
    words = ["kept.npz"] if command == "robustness" else ["dem.tif", "parcels.gpkg"]
    assert main([command, *words, old, "1m"]) == 2
    said = capsys.readouterr().err
    assert new in said and said.count("\n") == 1


def test_without_a_command_the_ways_to_begin_are_shown(capsys) -> None:
    assert main([]) == 0
    told = capsys.readouterr().out
    for command in ("tunnelsite demo", "tunnelsite desk"):
        assert command in told


def test_the_help_of_a_command_knows_no_other() -> None:
    wanted, listed = (
        next(action.choices for action in parser(only)._actions if action.dest == "name") for only in ("screen", "")
    )
    assert list(wanted) == ["screen"] and len(wanted["screen"]._actions) > 40
    assert len(listed) > 15 and {len(command._actions) for command in listed.values()} == {1}


@pytest.mark.parametrize("command", ["explain", "report", "layout"])
def test_help_of_what_follows_a_screening_is_short_and_takes_every_setting_all_the_same(command, capsys) -> None:
    assert main([command, "--help"]) == 0
    told = capsys.readouterr().out
    assert told.startswith(f"usage: tunnelsite {command} SITES.gpkg | DEM PARCELS | --project FILE [options]\n")
    assert (
        len(told.splitlines()) < 100
        and "--azimuths" not in told
        and "tunnelsite screen --help" in " ".join(told.split())
    )
    given = parsed(parser(command), [command, "dem.tif", "parcels.gpkg", "--azimuths", "16"])
    assert given_settings(given, Settings)["azimuths"] == "16"


@pytest.mark.parametrize("command", [one.name for one in COMMANDS])
def test_every_command_has_a_help_that_can_be_shown(command) -> None:
    """A per cent sign in an option's text is a format to argparse."""
    commands = next(action.choices for action in parser(command)._actions if action.dest == "name")
    assert commands[command].format_help().startswith("usage: tunnelsite ")
