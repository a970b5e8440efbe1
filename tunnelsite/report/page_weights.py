"""Weights that can be changed in the page: the marks of the listed candidates, and the sliders that weigh them again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

import numpy as np

from tunnelsite.drawing.markup import named, put, tag
from tunnelsite.report.chosen import PageOption
from tunnelsite.scan.combine import combined
from tunnelsite.scan.firmness.other_weights import candidates_over_shifts

if TYPE_CHECKING:
    from tunnelsite.screening.result import Result

WAYS = {
    "mean": "the weighted mean of the marks",
    "geometric": "the weighted geometric mean of the marks: no marks in one thing give 0",
    "lowest": "the lowest mark among what has a weight; a weight of 0 takes a thing out",
}


def weighed(result: Result) -> list[int]:
    """Which of the judges can be weighed: those with a weight, and those whose marks tell the candidates apart."""
    apart = np.ptp(candidates_over_shifts(result).counted, axis=0) > 0
    return [k for k, judge in enumerate(result.judges) if judge.rubric.weight > 0 or apart[k]]


def page_data(result: Result, options: Sequence[PageOption] = ()) -> dict[str, Any]:
    """What the page ranks again with: weights, marks over the shifts as they count and whether each was assessed at the exact place
    [candidates][criteria], and `rest`, what the steady score has over those marks combined. Equals stay in the screening's order.
    """
    chosen = weighed(result)
    marks = candidates_over_shifts(result)
    weights = np.array([judge.rubric.weight for judge in result.judges])
    shares = 100 * combined(marks.counted.T, weights, result.settings.combine)
    return {
        "combine": result.settings.combine,
        "criteria": [
            {
                "id": result.judges[k].id,
                "title": result.judges[k].criterion.description.title,
                "weight": result.judges[k].rubric.weight,
            }
            for k in chosen
        ],
        "candidates": [
            {
                "rank": k + 1,
                "label": options[k].label if options else str(k + 1),
                "score": choice.score,
                "rest": float(choice.score - shares[k]),
                "marks": marks.counted[k, chosen].tolist(),
                "assessed": marks.assessed[k, chosen].tolist(),
            }
            for k, choice in enumerate(result.choices)
        ],
    }


def weights_section(result: Result) -> Element:
    """The sliders, one a criterion; they need the page's script, and say so where it does not run."""
    section = tag(
        "section",
        tag("h2", "What matters to you?", id="weights-title"),
        class_="weights",
        aria_labelledby="weights-title",
    )
    words = (
        f"Points are {WAYS[result.settings.combine]}; what is not known counts half. Move a slider to weigh it otherwise: the table "
        "and the map follow. Only the options listed here are ranked again; another place on the farm may then be better than "
        "any of them. To rank every placement again, run the command below on a kept run."
    )
    put(
        section,
        tag("p", words),
        tag("p", "Sliders need JavaScript, which is off in this browser.", class_="care no-script"),
    )
    most = max(10.0, 2 * max(judge.rubric.weight for judge in result.judges))
    chosen = weighed(result)
    rows = [_slider(result, k, place, most) for place, k in enumerate(chosen)]
    form = tag("div", *rows, class_="sliders script-only", role="group", aria_labelledby="weights-title")
    reset = tag("button", "Back to the weights of the screening", type="button", id="reset-weights")
    say = tag("p", id="now-best", role="status", class_="now-best")
    command = tag("p", "Every placement: ", tag("code", id="rescore-command"), class_="soft")
    put(section, form, tag("div", reset, say, command, class_="script-only"))
    return section


def _slider(result: Result, k: int, place: int, most: float) -> Element:
    judge = result.judges[k]
    weight = judge.rubric.weight
    return tag(
        "div",
        tag("label", named(judge.criterion.description.title), for_=f"weight-{place}"),
        tag(
            "input",
            type="range",
            id=f"weight-{place}",
            min="0",
            max=f"{most:g}",
            step="0.25",
            value=f"{weight:g}",
            data_place=place,
        ),
        tag("output", f"{weight:g}", for_=f"weight-{place}"),
        class_="slider",
    )
