"""The cost table on a card: only at the user's own prices."""

from __future__ import annotations

from types import SimpleNamespace
from xml.etree.ElementTree import tostring

from tests.plans.cost.test_words import item, option
from tunnelsite.report.candidate_study import Study
from tunnelsite.report.card_cost import cost_part


def study(*options) -> Study:
    plan = SimpleNamespace(summary={"options": list(options)}) if options else None
    return Study(1, {}, "Option A", cost=plan)  # type: ignore[arg-type]


def test_nothing_without_prices() -> None:
    assert cost_part(study()) is None


def test_rows_total_and_what_has_no_price() -> None:
    trench = item(
        name="power",
        title="Trench to power",
        quantity=10.0,
        low=None,
        high=None,
        unit="m",
        cost=None,
        price_given="no price given",
    )
    nothing = item(name="base", title="Base to order", quantity=0.0)
    part = cost_part(study(option(item(), trench, nothing, without_price=["power"])))
    assert part is not None
    page = tostring(part, encoding="unicode")
    assert "Earth to move" in page and "12/yd3" in page and "Base to order" not in page
    assert "In all" in page and "120 (60 to 240)" in page
    assert "No price was given for power: not in the sum." in page and "no quotation" in page


def test_a_client_reads_the_price_beside_the_work_and_no_row_without_one() -> None:
    trench = item(name="power", title="Trench to power", cost=None, price_given="no price given")
    page = tostring(cost_part(study(option(item(), trench, without_price=["power"])), client=True), encoding="unicode")
    assert "Earth to move (" in page and "12/yd3" in page and "Trench to power" not in page
    assert "Your price" not in page and "No price was given for power" in page


def test_what_has_a_price_but_no_known_quantity_is_named_as_not_in_the_sum() -> None:
    unknown = item(name="clearing", title="Ground to clear", quantity=None, low=None, high=None, cost=None)
    for client in (False, True):
        page = tostring(cost_part(study(option(item(), unknown, without_price=[])), client=client), encoding="unicode")
        assert "Not known and so not in the sum: ground to clear." in page, client
