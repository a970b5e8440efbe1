"""What the work at an option costs, on its card: only where the user gave prices; none are ours."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from tunnelsite.core.wording import capital
from tunnelsite.drawing.markup import named, tag
from tunnelsite.plans.cost.words import cost_lines, total_words, unknown_words
from tunnelsite.report.candidate_study import Study

WORDS = "At your own unit prices, with the error of the elevations and the shortest trench, without swales and drains; no quotation."
SHORT = "At the unit prices in brackets, without swales and drains; no quotation."


def cost_part(study: Study, client: bool = False) -> Element | None:
    """The table of quantities and costs; None where no price was given or the work could not be counted.

    Arguments: study; client, whether work without a price has no row: the line below the table names it.
    """
    if study.cost is None:
        return None
    option = study.cost.summary["options"][0]
    rows = [
        tag(
            "tr",
            tag(
                "th",
                *((line.title, " (", named(line.price), ")") if client and line.cost else (line.title,)),
                scope="row",
            ),
            tag("td", line.quantity),
            None if client else tag("td", named(line.price)),
            tag("td", line.cost or "–"),
        )
        for line, item in zip(cost_lines(option), option["items"], strict=True)
        if item["quantity"] != 0.0 and (line.cost or not client)  # nothing to do and nothing to pay
    ]
    total = total_words(option)
    if total:
        gaps = [tag("td") for _ in range(1 if client else 2)]
        rows.append(tag("tr", tag("th", "In all", scope="row"), *gaps, tag("td", tag("b", total)), class_="total"))
    heads = ("Work", "Quantity", "Cost") if client else ("Work", "Quantity", "Your price", "Cost")
    head = tag("tr", *(tag("th", name, scope="col") for name in heads))
    table = tag("table", tag("thead", head), tag("tbody", *rows), class_="cost")
    missing = option["without_price"]
    gap = tag("p", f"No price was given for {', '.join(missing)}: not in the sum.") if missing else None
    unknown = tag("p", f"{capital(unknown_words(option))}.") if unknown_words(option) else None
    return tag(
        "section",
        tag("h4", "What the work costs"),
        table,
        unknown,
        gap,
        tag("p", SHORT if client else WORDS, class_="fine"),
        class_="part cost-part",
    )
