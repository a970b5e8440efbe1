"""`lay_out`: one answer for every host, by a site or by a finished screening."""

from __future__ import annotations

import json

import geopandas
import pytest
import shapely

from tests.scan.grounds import features, site
from tests.whole_run.files import gentle
from tunnelsite import LayoutSettings, Settings, lay_out, screen
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.settings.field import read_settings
from tunnelsite.settings.prices import PriceList

WEST, NORTH = 499_900.0, 4_700_100.0
HOUSE = House(6.0, 15.0)
SETTINGS = Settings(azimuths=8, halo_m=10, top=5)


@pytest.fixture(scope="module")
def farm():
    tap = features([shapely.Point(WEST + 6.5, NORTH - 6.5)], name="tap")
    return site(gentle(), services={"water": tap})


@pytest.fixture(scope="module")
def result(farm):
    return screen(farm, HOUSE, settings=SETTINGS)


def test_a_site_and_its_screening_give_the_same_block(farm, result):
    asked = LayoutSettings(houses=3, price=PriceList("", "").read({"water": "4/ft"}, "price"))
    plan = lay_out(result, asked)
    again = lay_out(farm, asked, screening=SETTINGS.model_copy(update={"house": ["6x15m"]}))
    assert plan.summary["houses"] == again.summary["houses"] and len(plan.summary["houses"]) == 3
    json.dumps(plan.summary, allow_nan=False)
    assert set(plan.layers) == {"layout", "pads", "trenches"} and set(plan.tables) == {"run"}
    assert [k for k in range(1, 9) if f">{k}</text>" in plan.pictures["map"]] == [1, 2, 3] and repr(plan).startswith(
        "<Plan lay_out: Block of 3 houses"
    )
    assert len(result.choices) == 5  # the screening itself stays as it was
    run = plan.tables["run"].set_index("name")["value"]
    assert run["layout houses"] == "3" and run["layout gap"] == "12 ft" and run["layout price"] == "water=4/ft"


def test_it_writes_what_the_command_writes(result, tmp_path):
    written = lay_out(result).write(tmp_path / "block")
    assert sorted(path.name for path in written.values()) == ["layout.gpkg", "layout.svg"]
    assert len(geopandas.read_file(written["layers"], layer="layout")) == LayoutSettings().houses


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"mix": {"6x15m": 1}}, "without --scattered"),
        ({"scattered": True, "aisle": "9m"}, "with --scattered"),
        ({"shade_day": "12-21"}, "--shade-from"),
        ({"shade_from": "25:00"}, "before noon"),
        ({"houses": 0}, "1 to 1000"),
    ],
)
def test_settings_that_do_not_go_together(given, expected):
    with pytest.raises(UsageError, match=expected):
        read_settings(LayoutSettings, given)


def test_settings_that_do_not_go_with_the_screening(result):
    for given, expected in (({"price": {"gas": "3/m"}}, "gas"), ({"scattered": True, "mix": {"9x9m": 1}}, "9x9m")):
        with pytest.raises(UsageError, match=expected):
            lay_out(result, read_settings(LayoutSettings, given))
    with pytest.raises(UsageError, match="Nowhere"):
        lay_out(result, LayoutSettings(parcel=("Nowhere",)))
