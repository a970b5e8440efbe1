"""What the map shows of an answer: the score of every placement, why not elsewhere, and the light of a month."""

from __future__ import annotations

from typing import Any

import numpy as np

from tunnelsite.core.units import MONTH_DAYS, MONTHS, days_of
from tunnelsite.desk.images import MapImages, Painter
from tunnelsite.desk.map_messages import LegendClass
from tunnelsite.desk.measures import Units
from tunnelsite.desk.paint import WARM, Painted, Ramp, classed, ramped
from tunnelsite.drawing.outcome_groups import rejected_groups, shown_scan
from tunnelsite.processes.season_light import PROCESS
from tunnelsite.report.plain_words import house_words
from tunnelsite.scan.outcomes import outcomes
from tunnelsite.screening.layers import made_by
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import crop_period

NEARLY_ALL = 0.98  # of the placements lie above the low end of the colours
# One warm colour for what breaks a rule, told apart by pattern and word; blue is for water alone.
PATTERNS = {
    "edge": (WARM, "dots"),
    "keep": (WARM, "cross"),
    "stand": (WARM, "plain"),
    "water": ("#0b5cad", "lines"),
    "ground": (WARM, "diagonal"),
    "other": (WARM, "counter"),
    "unknown": ("#5b6570", "dots"),
}


class AnswerImages(MapImages):
    """The images of a farm with those of its answer. Arguments: result, with its layers; run, its id; units."""

    def __init__(self, result: Result, run: str, units: Units) -> None:
        super().__init__(result.scans[shown_scan(result)].frame, feet=units.feet, version=run)
        self.result, self.run = result, run
        answer: dict[str, Painter] = {
            "score": ("Score of every place", "answer", self._score),
            "why_not": ("Why not here", "answer", self._why_not),
        }
        self._painters = {name: self._painters[name] for name in ("hillshade",)} | answer | self._painters
        self.months = crop_months(result.settings.crop_months)
        if self.months and "surface" in self.frame.layers:
            self._painters["light"] = ("Light of a month", "light", self._light)

    def _described(self, name: str) -> dict[str, Any]:
        if name == "light":
            title, group, _ = self._painters[name]
            legend = ramped(np.zeros((1, 1)), self._light_ramp(self.months[0])).legend.model_dump(mode="json")
            box = {"bounds": self.view, "unit": "", "legend": legend, "opacity": 0.7, "shown": False}
            return {"id": name, "title": title, "group": group, "url": f"/api/layers/light.png?v={self.version}", **box,
                    "months": self.months, "run": None}  # fmt: skip
        run = self.run if name in ("score", "why_not") else None
        return super()._described(name) | {"run": run}

    def _score(self, month: int | None) -> Painted:
        number = shown_scan(self.result)
        scan, scored = self.result.scans[number], self.result.scored[number]
        spread = np.full(scan.frame.grid.shape, np.nan, np.float32)
        spread.flat[scan.index] = scored
        known = scored[np.isfinite(scored)]
        ends = (float(np.quantile(known, 1 - NEARLY_ALL)), float(known.max())) if known.size else (0.0, 100.0)
        note = f"the colours span {ends[0]:.0f} to {ends[1]:.0f} of 100 points, not the whole scale"
        house = f"{house_words(scan.house.name)}, ridge {scan.frame.grid.bearing_deg:g}°"
        ramp = Ramp(f"Score ({house})", "points", lambda value: f"{value:.0f}", ends=ends, note=note)
        return ramped(self.sheet.shown(spread), ramp)

    def _why_not(self, month: int | None) -> Painted:
        result, scan = self.result, self.result.scans[shown_scan(self.result)]
        room = (result.settings.setback_m, result.settings.clearance_m)
        found = outcomes(scan, result.judges, room, result.settings.pad_pitch)
        titles = {judge.id: judge.criterion.description.title for judge in result.judges}
        groups = rejected_groups(found, titles)
        code = np.full(scan.frame.grid.shape, -1, np.float32)
        for number, group in enumerate(groups):
            code[group.mask] = number
        classes = []
        for group in groups:
            colour, pattern = PATTERNS[group.key]
            count = sum(number for _, number in group.counts)
            classes.append(LegendClass(value=group.key, words=group.title, colour=colour, pattern=pattern, count=count))
        shown = np.nan_to_num(self.sheet.shown(code), nan=-1.0).astype(int)
        return classed(shown, classes, "Why not here", "the first rule that a house centred there would break")

    def _light_ramp(self, month: int) -> Ramp:
        name = MONTHS[month - 1].capitalize()
        note = "of the direct sun under an open sky, at the height of the crops"
        return Ramp(f"Light in {name}", "", lambda value: f"{100 * value:.0f} %", ends=(0.0, 1.0), note=note)

    def _light(self, month: int | None) -> Painted:
        """Light of one month. Arguments: month; the darkest by the year where none is named: December, June in the south."""
        frame, month = self.frame, month or (12 if self.frame.lat_deg >= 0 else 6)
        settings = self.result.settings.model_copy(
            update={"crop_months": f"{month:02d}-01:{month:02d}-{MONTH_DAYS[month - 1]:02d}"}
        )
        made = made_by(PROCESS, self.result.site, frame, settings)
        return ramped(self.sheet.shown(made["beam_share"].values), self._light_ramp(month))


def crop_months(text: str) -> list[int]:
    """The months that have a day with crops, in the order of the season."""
    days = days_of(crop_period(text))
    ends = np.cumsum(MONTH_DAYS)
    return list(dict.fromkeys(int(np.searchsorted(ends, day)) + 1 for day in days))
