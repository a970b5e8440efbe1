"""Costs in words: yards for people who work in feet, nothing invented where a quantity or a price is missing."""

from __future__ import annotations

from tunnelsite.plans.cost.words import cost_lines, total_words


def item(**changed):
    row = {
        "name": "earthwork", "title": "Earth to move", "quantity": 7.6455, "low": 3.8228, "high": 15.291, "unit": "m3",
        "unit_price": 15.695, "price_given": "12/yd3", "cost": 120.0, "cost_low": 60.0, "cost_high": 240.0, "note": "a note",
    }  # fmt: skip
    return row | changed


def option(*items, **changed):
    return {"feet": True, "items": list(items), "total": 120.0, "total_low": 60.0, "total_high": 240.0} | changed


def test_yards_for_feet_and_metres_for_metres() -> None:
    """7.6455 m3 are 10 cubic yards (0.764555 m3 each, NIST SP 811, appendix B.8)."""
    assert cost_lines(option(item()))[0].quantity == "10 yd³ (5 to 20)"
    assert cost_lines(option(item(), feet=False))[0].quantity == "8 m³ (4 to 15)"
    assert cost_lines(option(item()))[0].cost == "120 (60 to 240)" == total_words(option(item()))


def test_a_trench_can_only_be_longer() -> None:
    way = item(unit="m", quantity=30.48, low=24.384, high=None, cost=None, price_given="no price given")
    line = cost_lines(option(way))[0]
    assert (line.quantity, line.price, line.cost) == ("100 ft (at least 80)", "no price given", "")


def test_unknown_stays_unknown() -> None:
    line = cost_lines(option(item(quantity=None, cost=None)))[0]
    assert line.quantity == "not known" and line.cost == "" and line.note == "a note"
    assert total_words(option(total=None)) == ""
