"""One answer in every host: a plan from Python is that of the command, of a candidate and of the same place said by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.hosts.screened import asked, screened
from tests.whole_run.files import gentle, plain_farm
from tunnelsite import Placement, grade, option, read_site, stake_out, sun_chart
from tunnelsite.plans.grading.settings import GradingSettings
from tunnelsite.plans.stakeout.settings import StakeOutSettings

NOT_OF_THE_PLACE = ("outputs", "notes", "cautions", "title")


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    """(DEM, parcels, sites.gpkg) of a field screened with settings that only the screening's file knows."""
    folder = tmp_path_factory.mktemp("same")
    words = ("--bearing", "70", "--apron", "2m", "--shrink", "1.2", "--crop-months", "Oct:Apr", "--setback", "4m")
    return screened(folder, *plain_farm(folder, gentle(90, 110)), *words)


def numbers(summary: dict) -> dict:
    """The summary without words on files, as JSON has it."""
    return json.loads(json.dumps({name: value for name, value in summary.items() if name not in NOT_OF_THE_PLACE}))


def made(command: str, farm, folder: Path, place: Placement):
    """(What the command says, the same plan from Python)."""
    site = read_site(farm[0], farm[1])
    words = [command, farm[0], farm[1], "--sites", farm[2], "--rank", "1", "--out"]
    if command == "sunchart":
        return [*words, str(folder / "a.svg")], sun_chart(site, place)
    if command == "grading":
        return [*words, str(folder / "a.gpkg"), "--draws", "20"], grade(site, place, GradingSettings(draws=20))
    return [*words, str(folder / "a.csv")], stake_out(site, place)


@pytest.mark.parametrize("command", ["sunchart", "grading", "stakeout"])
def test_the_command_says_what_python_gives(command, farm, tmp_path, capsys) -> None:
    place = option(farm[2], 1)
    words, plan = made(command, farm, tmp_path, place)
    said = asked(capsys, *words)  # no setting of the screening is said again
    assert numbers(said) == numbers(plan.summary) and said["title"] == plan.title
    by_hand = Placement(place.lon_deg, place.lat_deg, place.bearing_deg, place.house, settings=place.settings)
    _, again = made(command, farm, tmp_path, by_hand)
    assert numbers(again.summary) == numbers(plan.summary)


def test_the_stakes_take_the_heights_of_a_grading_plan(farm) -> None:
    site, place = read_site(farm[0], farm[1]), option(farm[2], 1)
    graded = grade(site, place, GradingSettings(draws=20, balance="none"))
    staked = stake_out(site, place, StakeOutSettings(grading=graded))
    stakes = staked.layers["stakes"].set_index("label")
    corner = stakes.loc["NE"] if "NE" in stakes.index else stakes[stakes.kind == "corner"].iloc[0]
    plane = graded.summary["grading"]
    wanted = plane["level_m"] + plane["slope_along"] * corner.along_m + plane["slope_across"] * corner.across_m
    assert corner.finish_m == pytest.approx(wanted, abs=1e-6)


def test_a_place_that_no_screening_chose_is_planned_too(farm) -> None:
    site, chosen = read_site(farm[0], farm[1]), option(farm[2], 1)
    place = replace(chosen, rank=None, bearing_deg=100.0, title="By the gate")
    plan = grade(site, place, GradingSettings(draws=20))
    assert plan.title == "By the gate" and plan.summary["bearing_deg"] == 100.0
    run = plan.tables["run"]
    assert set(run[run.kind == "setting"].name) >= {"lon", "lat", "bearing_deg", "house", "balance"}
    assert not any("screening" in note for note in plan.notes)
    assert "fits the ground best" in " ".join(stake_out(site, place).notes)
