"""Unit prices are the user's own, in the units in which they are quoted."""

from __future__ import annotations

import pytest

from tunnelsite.core.errors import UsageError
from tunnelsite.settings.prices import PriceList, Prices, read_price

KIND = PriceList("Prices", "Unit prices.")


@pytest.mark.parametrize(
    ("name", "text", "amount", "unit"),
    [  # exact by definition: 1 ft = 0.3048 m (NIST SP 811, 2008, appendix B.8); 1 acre = 43,560 square feet
        ("water", "3.048/ft", 10.0, "m"),
        ("road", "30/m", 30.0, "m"),
        ("earthwork", "7.645548579840001/yd3", 10.0, "m3"),
        ("base", "10/m³", 10.0, "m3"),
        ("clearing", "4046.8564224/acre", 1.0, "m2"),
        ("clearing", "10000/ha", 1.0, "m2"),
    ],
)
def test_amounts_for_one_si_unit(name, text, amount, unit):
    found = read_price(name, text)
    assert found.amount == pytest.approx(amount, rel=1e-12) and found.unit == unit


@pytest.mark.parametrize(
    ("name", "text"),
    [("water", "12"), ("water", "12/m3"), ("earthwork", "3/m"), ("water", "0/m"), ("water", "-1/m"), ("water", "x/m")],
)
def test_what_is_no_price(name, text):
    with pytest.raises(UsageError):
        read_price(name, text)


def test_a_table_and_the_command_line_say_the_same():
    table = KIND.read({"earthwork": "12/yd3", "water": "4/ft"}, "price")
    assert table == KIND.read(["earthwork=12/yd3", "water=4/ft"], "price") == KIND.read(table, "price")
    assert table.words() == ["earthwork=12/yd3", "water=4/ft"] and KIND.shown(table) == "earthwork=12/yd3, water=4/ft"
    assert table.ways() == {"water": pytest.approx(4 / 0.3048)} and table.of("base") is None
    with pytest.raises(UsageError, match="once"):
        KIND.read(["water=1/m", "water=2/m"], "price")
    with pytest.raises(UsageError, match="gas"):
        KIND.read({"gas": "1/m"}, "price").check_services(["water"])
    assert Prices().ways() == {}
