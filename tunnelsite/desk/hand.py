"""The house in the hand: what its strip shows, from the measures of one place."""

from __future__ import annotations

import time
from copy import copy
from dataclasses import replace
from typing import Any

import numpy as np

from tunnelsite.core.house import House
from tunnelsite.decisions.criterion_words import criterion_words
from tunnelsite.decisions.explain import PreparedGround
from tunnelsite.decisions.explanation import RuleCheck
from tunnelsite.desk.hand_measures import MeasuredHouse, measured
from tunnelsite.desk.measures import NOT_KNOWN, Units
from tunnelsite.desk.other_season import lit_near
from tunnelsite.desk.outline import house_outline
from tunnelsite.desk.plain import plain, plain_title
from tunnelsite.desk.point_light import PointLight
from tunnelsite.desk.sheet import season_words
from tunnelsite.desk.spot import Spots
from tunnelsite.report.plain_words import plain_flags
from tunnelsite.scan.steady import rooms_to_shift
from tunnelsite.screening.not_assessed import unseen_words
from tunnelsite.screening.result import Result
from tunnelsite.settings.model import settings_from

GROUND_RULES = ("boundary", "structures", "obstacles")
SAME_DEG, SAME_M = 0.01, 1e-6
LEVEL_PCT = 0.05  # what rounds to 0.0 %
COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


class InHand:
    """Measures a house wherever it is held.

    Arguments: result, whose frame still holds its layers; units of the words.
    """

    def __init__(self, result: Result, units: Units) -> None:
        self.result, self.units = result, units
        self.spots = Spots(result.site, result.frame)
        self.prepared = PreparedGround.of(result)
        self.light = PointLight(result.site, result.frame, result.settings)
        self.tried_months = ""

    def in_months(self, crop_months: str, place: tuple[float, float]) -> InHand:
        """The same in other crop months, round a place (longitude, latitude [deg]). Errors: UsageError for a period that is none, or a
        place off the data."""
        wanted = settings_from({"crop_months": crop_months}).crop_months
        settings = self.result.settings.model_copy(update={"crop_months": wanted})
        other = copy(self)
        other.result, other.tried_months = replace(self.result, settings=settings), wanted
        other.spots = Spots(self.spots.site, lit_near(self.spots.site, self.spots.frame, settings, place))
        other.light = self.light.in_months(wanted)
        return other

    def house(self, text: str) -> House:
        """The house of a size, with the kind and ridge height of the run. Errors: UsageError."""
        known = next((scan.house for scan in self.result.scans if scan.house.name == text), None)
        settings = self.result.settings
        if known is not None:
            return known
        found = House.parse(text, settings.kind)
        return House(found.width_m, found.length_m, settings.kind, settings.ridge_m, found.name, found.feet)

    def message(self, lon: float, lat: float, bearing_deg: float, size: str) -> dict[str, Any]:
        """The message `Hand` of a place. Errors: UsageError for a place off the data or a house that is none."""
        begun = time.perf_counter()
        house = self.house(size)
        bearing = float(bearing_deg) % 180.0
        found = measured(self.result, self.spots, (lon, lat, bearing), house)
        scan = found.scan
        message = {
            "dropped": False,
            "measured": "all",
            "place": {"lon": lon, "lat": lat, "bearing_deg": bearing_deg, "house": size},
            "parcel": found.explained.parcel,
            **house_outline(scan.frame.grid, found.centre_m, house, scan.pad),
            "pitch": self._pitch(found, bearing),
            "earth": self._earth(found),
            "water": self._water(found),
            "light": self.light.months_at(lon, lat),
            "rules": [self._rule(rule) for rule in found.explained.rules if _is_rule(rule)],
            "distances": self._distances(found),
            **self._score(found, (lon, lat, bearing), house),
            "criteria": self._criteria(found),
        }
        if self.tried_months:
            message["tried"] = {"months": self.tried_months, "words": season_words(self.tried_months)}
        message["flags"] = plain_flags(found.row["flags"]).split("; ") if found.row and found.row["flags"] else []
        return message | {"took_ms": round(1000 * (time.perf_counter() - begun), 1)}

    def _pitch(self, found: MeasuredHouse, bearing: float) -> dict[str, Any]:
        row = found.row or {}
        known = row.get("shows_ground")
        along, across = (row[f"pitch_{way}_pct"] if known else None for way in ("along", "across"))
        return {
            "along_pct": plain(along),
            "across_pct": plain(across),
            "se_pct": plain(row.get("pitch_se_pct")),
            "along_words": self._slope(along, bearing),
            "across_words": self._slope(across, bearing - 90.0),
        }

    def _slope(self, value_pct: float | None, rises_deg: float) -> str:
        """A slope and which way it falls. Arguments: value; rises_deg, where a positive one rises to."""
        if value_pct is None or not np.isfinite(value_pct):
            return NOT_KNOWN
        if abs(value_pct) < LEVEL_PCT:
            return "level"
        falls = (rises_deg + 180.0 if value_pct > 0 else rises_deg) % 360.0
        return f"{self.units.pitch(value_pct)}, falls to the {COMPASS[round(falls / 45.0) % 8]}"

    def _earth(self, found: MeasuredHouse) -> dict[str, Any]:
        row = found.row or {}
        if not row.get("shows_ground"):
            return {"cut_m3": None, "fill_m3": None, "max_cut_m": None, "max_fill_m": None, "words": NOT_KNOWN}
        names = ("cut_m3", "fill_m3", "max_cut_m", "max_fill_m")
        cut, fill, deep, high = (row[name] for name in names)
        units = self.units
        words = f"cut {units.volume(cut)}, deepest {units.depth(deep)}; fill {units.volume(fill)}, highest {units.depth(high)}"
        return {name: plain(row[name]) for name in names} | {"words": words}

    def _water(self, found: MeasuredHouse) -> dict[str, Any]:
        row, units, words = found.row or {}, self.units, []
        upslope, pond, above = (plain(row.get(name)) for name in ("upslope_m2", "ponding_m", "drainage_height_m"))
        words.append(
            "not known how much drains towards it"
            if upslope is None
            else f"{units.land(upslope)} drain through the pad"
        )
        if pond is not None:
            words.append(
                f"water stands up to {units.depth(pond)} deep somewhere on the pad"
                if pond >= 0.01
                else "no water stands there"
            )
        if above is not None:
            words.append(f"{units.height(max(above, 0.0))} above the stream, ditch or swale it drains to")
        return {"upslope_m2": upslope, "ponding_m": pond, "above_drainage_m": above, "words": words}

    def _rule(self, rule: RuleCheck) -> dict[str, Any]:
        state = "unknown" if rule.passed is None else "kept" if rule.passed else "broken"
        titles = {judge.id: judge.criterion.description.title for judge in self.result.judges}
        title = plain_title(rule.rule, titles)
        return {"rule": rule.rule, "title": title[:1].upper() + title[1:], "state": state, "words": self.rule_words(rule),
                "change": self._change(rule) if state == "broken" else ""}  # fmt: skip

    def _change(self, rule: RuleCheck) -> str:
        """What would have to change, in the user's unit, where the rule's words do not hold measure and limit already."""
        if all(one.id != rule.rule for one in self.result.judges):
            return self.units.in_own_units(rule.change)
        return "another place" if rule.unit in ("", "1") else ""

    def rule_words(self, rule: RuleCheck) -> str:
        """A rule at one place in the user's unit."""
        units = self.units
        if rule.passed is None:
            return NOT_KNOWN
        if rule.rule == "no_data":
            return "known under all of it" if rule.passed else "missing, at least in part"
        value = rule.value
        if value is None:  # of a rule that says yes or no
            return "no sign of it" if rule.passed else "it looks so"
        if rule.rule == "boundary":
            if value < 0:
                return f"reaches {units.away(-value)} over the edge"
            need = f", {units.away(rule.limit)} needed" if rule.limit else ""
            return f"{units.away(value)} inside the edge{need}"
        if rule.rule in GROUND_RULES or rule.rule.startswith("keep_out:"):
            need = f", {units.away(rule.limit)} needed" if rule.limit else ""
            return f"{units.away(value)} away{need}" if value > 0 else f"on it{need}"
        if rule.unit in ("1", ""):
            return "no sign of it" if rule.passed else "it looks so"
        return f"{self.amount(value, rule.unit)} (limit {self.amount(rule.limit, rule.unit)})"

    def amount(self, value: float | None, unit: str) -> str:
        """A measure in the user's unit."""
        if value is None:
            return NOT_KNOWN
        if unit == "m2":
            return self.units.land(value)
        if unit == "m":
            return self.units.depth(value) if abs(value) < 1 else self.units.away(value)
        return f"{value:.3g}" if unit in ("", "1") else f"{value:.3g} {unit}"

    def _distances(self, found: MeasuredHouse) -> list[dict[str, Any]]:
        values = {rule.rule: rule.value for rule in found.explained.rules}
        told = [(rule.removeprefix("reach_"), value, f"to {rule.removeprefix('reach_')}") for rule, value in values.items()
                if rule.startswith("reach_") and value is not None]  # fmt: skip
        clear = (found.row or {}).get("clearance_m")
        if clear is not None:
            told.append(("structures", clear, "to the nearest building"))
        edge = values.get("boundary")
        if edge is not None and edge >= 0:
            told.append(("edge", edge, "from the pad to the field's edge"))
        return [
            {"name": name, "distance_m": float(value), "words": f"{self.units.away(value)} {words}"}
            for name, value, words in told
        ]

    def _score(self, found: MeasuredHouse, place: tuple[float, float, float], house: House) -> dict[str, Any]:
        here, steady = found.explained.score_here, found.steady
        words = f"{steady:.0f} of 100" if steady is not None else "not offered: a rule is broken"
        if steady is None and here is not None:
            words += f"; it would score {here:.0f}"
        return {
            "score": {"steady": plain(steady), "here": plain(here), "words": words},
            "room_m": self.room(found, place, house),
        }

    def room(self, found: MeasuredHouse, place: tuple[float, float, float], house: House) -> float | None:
        """Room to shift by the placements of the run, where it tried this house along this ridge; else not known."""
        if found.steady is None or self.tried_months:
            return None
        for number, scan in enumerate(self.result.scans):
            grid = scan.frame.grid
            if scan.house != house or abs((grid.bearing_deg - place[2] + 90.0) % 180.0 - 90.0) > SAME_DEG:
                continue
            along, across = grid.from_map(*self.spots.map_place(*place[:2]))
            row, col = int((grid.north_m - across) / grid.cell_m), int((along - grid.west_m) / grid.cell_m)
            item = int(np.searchsorted(scan.index, row * grid.cols + col))
            if item < len(scan.index) and scan.index[item] == row * grid.cols + col:
                here = self.result.here[number]  # before a run there is none, and no placement either
                return float(rooms_to_shift(scan, here, np.array([item]), np.array([found.steady]))[0])
        return None

    def _criteria(self, found: MeasuredHouse) -> list[dict[str, Any]]:
        judges, told = {judge.id: judge for judge in self.result.judges}, []
        for rule in found.explained.rules:
            judge = judges.get(rule.rule)
            if judge is None or not rule.weight > 0:
                continue
            words = rule.title + ": not assessed"
            if found.row is not None:
                unseen = unseen_words(judge.criterion, self.result.gaps)
                words = criterion_words(
                    judge.criterion, judge.rubric, rule.value, found.row, feet=self.units.feet, unseen=unseen
                )
            told.append({"id": rule.rule, "title": rule.title, "words": words, "marks": plain(rule.marks), "weight": rule.weight,
                         "points": plain(rule.points), "could_gain": plain(rule.could_gain)})  # fmt: skip
        return sorted(told, key=lambda one: -(one["could_gain"] or 0.0))


def _is_rule(rule: RuleCheck) -> bool:
    return rule.limit is not None
