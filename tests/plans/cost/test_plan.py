"""The cost table: quantities are those of the plans, money is quantity times the user's price, and nothing else is made up."""

from __future__ import annotations

import json

import numpy as np
import pandas
import pytest
import shapely

from tests.scan.grounds import features, site
from tunnelsite import CostSettings, GradingSettings, Placement, cost, grade
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.plans.candidate import standing
from tunnelsite.plans.grading.earth_rule import EarthRule
from tunnelsite.plans.grading.plan import grading_plan
from tunnelsite.scan.pitch_error import counted_error, stated_error
from tunnelsite.settings.field import read_settings

WEST, NORTH = 499_900.0, 4_700_100.0
LON, LAT = -81.00054726, 42.45282629  # 55 m east and 45 m south of the corner
HOUSE = House(6.0, 15.0, kind="container")
SETTINGS = {"kind": "container", "halo": "20m", "elevation_error": "0.05m", "error_range": "5m"}


def ground() -> np.ndarray:
    """A field that falls 4 % to the south."""
    return 100.0 - 0.04 * np.mgrid[0:90, 0:110][0].astype(float)


def farm(**more):
    tap = features([shapely.Point(WEST + 8, NORTH - 45)], name="tap")
    return site(ground(), services={"water": tap}, **more)


def place(house=HOUSE, **more) -> Placement:
    return Placement(LON, LAT, 90.0, house, settings=SETTINGS | {"kind": house.kind} | more)


def asked(**more) -> CostSettings:
    """A few draws go through the code of many; how wide they spread: tests/plans/grading."""
    return read_settings(CostSettings, {"draws": 20} | more)


def rows(plan) -> pandas.DataFrame:
    return plan.tables["cost"].set_index("name")


@pytest.fixture(scope="module")
def plain():
    """Prices of earth and water, none of topsoil, base and clearing."""
    price = {"earthwork": "12/yd3", "water": "4/ft"}
    return cost(farm(), place(), asked(price=price, topsoil="0.2m", base="0.1m", base_loose=1.3))


def test_quantities_are_those_of_the_grading_plan(plain):
    found = standing(farm(), place())
    error = counted_error(found.frame, (found.place.row, found.place.col), stated_error(found.frame, 0.05, 5.0))
    rule = EarthRule(topsoil_m=0.2, base_m=0.1, base_loose=1.3)
    plan, told = grading_plan(found.ground, found.place, rule, found.limits, error), rows(plain)
    assert (
        told.loc["earthwork", "quantity"] == pytest.approx(max(plan.cut_m3, plan.fill_m3), abs=1e-6) and plan.cut_m3 > 5
    )
    assert plan.materials.topsoil_stripped_m3 == pytest.approx(0.2 * plan.outline.area)
    assert told.loc["topsoil", "quantity"] == pytest.approx(plan.materials.topsoil_stripped_m3, abs=1e-6)
    assert told.loc["base", "quantity"] == pytest.approx(0.1 * 1.3 * plan.place.pad.area_m2)
    assert told.loc["earthwork", "low"] <= told.loc["earthwork", "quantity"] <= told.loc["earthwork", "high"]
    # from the west wall of the house to the tap: 55 - 7.5 - 8 m; no way can be shorter
    assert told.loc["water", "quantity"] == pytest.approx(39.5, abs=0.6)
    assert told.loc["water", "low"] <= told.loc["water", "quantity"] and pandas.isna(told.loc["water", "high"])


def test_money_is_quantity_times_price_and_what_has_no_price_has_no_cost(plain):
    told, option = rows(plain), plain.summary["options"][0]
    # 1 yd3 = 0.764554857984 m3 and 1 ft = 0.3048 m, exact by definition (NIST SP 811, 2008, appendix B.8)
    earth = told.loc["earthwork", "quantity"] / 0.764554857984 * 12
    water = told.loc["water", "quantity"] / 0.3048 * 4
    assert told.loc["earthwork", "cost"] == pytest.approx(earth) and told.loc["water", "cost"] == pytest.approx(water)
    assert told.loc["earthwork", "cost_high"] == pytest.approx(told.loc["earthwork", "high"] / 0.764554857984 * 12)
    for name in ("topsoil", "base", "clearing"):
        assert pandas.isna(told.loc[name, "cost"]) and pandas.isna(told.loc[name, "unit_price"])
        assert told.loc[name, "price_given"] == "no price given"
    assert (
        option["total"] == pytest.approx(earth + water) and option["total_low"] < option["total"] < option["total_high"]
    )
    assert option["without_price"] == ["topsoil", "base", "clearing"]
    json.dumps(plain.summary, allow_nan=False)


def test_what_is_not_counted_is_said(plain):
    assert any("Swales, level spreaders and drains are not counted" in text for text in plain.cautions)


def test_without_any_price_there_is_no_total():
    option = cost(farm(), place(), asked()).summary["options"][0]
    assert option["total"] is option["total_low"] is option["total_high"] is None
    assert all(item["cost"] is None and item["unit_price"] is None for item in option["items"])


def test_clearing_is_not_known_unless_something_says_what_stands_there():
    unknown = rows(cost(farm(), place(), asked())).loc["clearing"]
    assert pandas.isna(unknown["quantity"]) and "neither" in unknown["note"]
    tree = features([shapely.Point(WEST + 55, NORTH - 45)], name="trees", height_m=[8.0], crown_m=[4.0], what=["tree"])
    known = rows(cost(farm(obstacles=tree), place(), asked(price={"clearing": "2/m2"})))
    assert 2.0 < known.loc["clearing", "quantity"] < 15  # one crown of a few metres, whole on the pad
    assert known.loc["clearing", "cost"] == pytest.approx(2 * known.loc["clearing", "quantity"])
    far = features([shapely.Point(WEST + 100, NORTH - 80)], name="trees", height_m=[8.0], crown_m=[4.0], what=["tree"])
    assert rows(cost(farm(obstacles=far), place(), asked())).loc["clearing", "quantity"] == 0


def test_an_in_ground_house_has_no_base():
    told = rows(cost(farm(), place(House(6.0, 15.0)), asked(base="0.1m")))
    assert told.loc["base", "quantity"] == 0 and "in-ground" in told.loc["base", "note"]


def test_options_stand_one_after_the_other_with_the_prices_of_the_project():
    priced = place(price={"earthwork": "12/yd3"})
    plan = cost(farm(), [priced, place()], asked())
    totals = [option["total"] for option in plan.summary["options"]]
    assert totals[0] > 0 and totals[1] is None and len(plan.tables["cost"]) == 10


def test_a_price_of_what_the_site_does_not_have():
    with pytest.raises(UsageError, match="gas"):
        cost(farm(), place(), read_settings(CostSettings, {"price": {"gas": "3/m"}}))
    with pytest.raises(UsageError, match="yd3"):
        place(price={"earthwork": "3/ft"}) and cost(farm(), place(price={"earthwork": "3/ft"}))


def test_the_interval_is_that_of_a_grading_plan():
    """The same house had `90 % up to 7.4 yd3` in its grading plan and `up to 7` here: the draws were half as many."""
    spread = grade(farm(), place(), GradingSettings(no_swale=True)).summary["grading"]
    told = rows(cost(farm(), place(), CostSettings())).loc["earthwork"]
    larger = "cut_m3" if spread["cut_m3"] >= spread["fill_m3"] else "fill_m3"
    sure = spread["uncertainty"][larger]
    assert (told["low"], told["high"]) == pytest.approx((sure["low"], sure["high"]), abs=1e-6)


def test_the_table_tells_quantities_in_the_units_of_the_house_too(plain):
    in_feet = rows(cost(farm(), place(House.parse("20x50ft")), asked()))
    assert in_feet.loc["water", "in_words"].split(" (")[0].endswith(" ft")
    assert in_feet.loc["earthwork", "in_words"].split(" (")[0].endswith(" yd³")
    assert rows(plain).loc["water", "in_words"].split(" (")[0].endswith(" m")


@pytest.mark.parametrize("kind", ["in-ground", "container"])
def test_earthwork_is_not_known_where_the_cells_are_too_wide_for_the_house(kind):
    """As the screening of the same file has no pitch and no cut: a volume with a narrow interval would be the interpolation's."""
    wide = site(100.0 - 0.4 * np.mgrid[0:9, 0:11][0].astype(float), cell=10.0)
    plan = cost(wide, place(House(6.0, 15.0, kind=kind), cell="2m"), asked(price={"earthwork": "12/yd3"}))
    told, option = rows(plan), plan.summary["options"][0]
    assert pandas.isna(told.loc["earthwork", ["quantity", "low", "high", "cost"]]).all() and option["total"] is None
    assert "cannot show how level the ground" in told.loc["earthwork", "note"]
    assert pandas.isna(told.loc["topsoil", "quantity"]) == (kind == "in-ground")  # a container's pad is always stripped
    assert "earthwork" in option["not_known"]
