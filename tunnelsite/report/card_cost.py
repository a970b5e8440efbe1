"""What the work at an option costs, on its card: only where the user gave prices; none are ours."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from tunnelsite.drawing.markup import named, tag
from tunnelsite.plans.cost.words import cost_lines, total_words
from tunnelsite.report.candidate_study import Study

WORDS = "At your own unit prices. Intervals count the error of the elevations and the shortest possible trench; this is no quotation."


def cost_part(study: Study) -> Element | None:
    """The table of quantities and costs; None where no price was given or the work could not be counted."""
    if study.cost is None:
        return None
    option = study.cost.summary["options"][0]
    rows = [
        tag(
            "tr",
            tag("th", line.title, scope="row"),
            tag("td", line.quantity),
            tag("td", named(line.price)),
            tag("td", line.cost or "–"),
        )
        for line, item in zip(cost_lines(option), option["items"], strict=True)
        if item["quantity"] != 0.0  # nothing to do and nothing to pay
    ]
    total = total_words(option)
    if total:
        rows.append(
            tag(
                "tr", tag("th", "In all", scope="row"), tag("td"), tag("td"), tag("td", tag("b", total)), class_="total"
            )
        )
    head = tag("tr", *(tag("th", name, scope="col") for name in ("Work", "Quantity", "Your price", "Cost")))
    table = tag("table", tag("thead", head), tag("tbody", *rows), class_="cost")
    missing = option["without_price"]
    gap = tag("p", f"No price was given for {', '.join(missing)}: not in the sum.") if missing else None
    return tag(
        "section", tag("h4", "What the work costs"), table, gap, tag("p", WORDS, class_="fine"), class_="part cost-part"
    )
