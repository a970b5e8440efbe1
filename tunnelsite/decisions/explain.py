"""Why a place is ranked where it is, or why it is not offered: every rule in order, with value, limit and remedy."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from tunnelsite.core.criterion import Truth
from tunnelsite.core.errors import UsageError
from tunnelsite.core.grid import transformer
from tunnelsite.scan.combine import combined
from tunnelsite.scan.engine import Judge, Scan, truth_of
from tunnelsite.scan.marks import marks_from
from tunnelsite.scan.open_ground import bars
from tunnelsite.scan.refine import placement, rectangle, shrunk, too_near
from tunnelsite.scan.steady import SCORE_STEP
from tunnelsite.scan.strip import Strip
from tunnelsite.scan.tight_ground import FIT_M
from tunnelsite.screening.result import Result


@dataclass(frozen=True)
class RuleCheck:
    """One rule at one place.

    Attributes: rule; title; unit; value (None = not assessed); limit (None = never rejects); passed (None = not
    assessed); marks 0..1; weight; points, what it adds to the score; could_gain, points more with full marks; change,
    what would have to change for it to pass ("" where it passes).
    """

    rule: str
    title: str
    unit: str
    value: float | None
    limit: float | None
    passed: bool | None
    marks: float | None = None
    weight: float = 0.0
    points: float | None = None
    could_gain: float | None = None
    change: str = ""


@dataclass(frozen=True)
class Explanation:
    """Every rule at one placement. `score` is the steady score that ranks, None where a rule rejects the place; `score_here` is what
    it scores at this very place, or would if no limit rejected it; `moved_m` is the distance from the asked point to the
    centre of the placement; `above`, `scored`: placements of all scans scoring higher, and all; `not_listed`: why it is no
    candidate though no rule rejects it."""

    house: str
    bearing_deg: float
    parcel: str | None
    moved_m: float
    rules: tuple[RuleCheck, ...]
    score: float | None
    score_here: float | None
    rank: int | None
    above: int
    scored: int
    not_listed: str = ""

    @property
    def broken(self) -> list[RuleCheck]:
        """Rules that reject the place."""
        return [rule for rule in self.rules if rule.passed is False]

    def words(self) -> str:
        """The explanation as plain lines."""
        verdict = "passes every rule" if not self.broken else "is rejected by " + ", ".join(r.rule for r in self.broken)
        if self.rank:
            verdict = f"is candidate {self.rank}"
        elif self.not_listed:
            verdict += f", but {self.not_listed}"
        place = "" if self.moved_m < 0.05 else f" ({self.moved_m:.1f} m from the place asked for)"
        lines = [f"{self.house}, ridge {self.bearing_deg:g} deg, in {self.parcel or 'no parcel'}{place}: {verdict}"]
        if self.score is not None:
            lines.append(
                f"score {self.score:.1f} over small shifts, {self.score_here:.1f} at this very place; "
                f"{self.above:,} of {self.scored:,} placements score higher"
            )
        elif self.score_here is not None:
            lines.append(f"without the rules that reject it, it would score {self.score_here:.1f} at this very place")
        for r in self.rules:
            value = (
                "not assessed" if r.value is None else f"{_told(r.value)} {'' if r.unit == '1' else r.unit}".rstrip()
            )
            limit = "no limit" if r.limit is None else f"limit {_told(r.limit)}"
            state = "unknown" if r.value is None else "REJECTS" if r.passed is False else "ok"
            part = f"; {r.points:.1f} points, {r.could_gain:.1f} more possible" if r.points is not None else ""
            lines.append(f"  {state:8} {r.title}: {value} ({limit}){part}" + (f" -> {r.change}" if r.change else ""))
        return "\n".join(lines)


def _told(value: float) -> str:
    """Three figures, and never a power of ten."""
    return (
        f"{value:,.0f}"
        if abs(value) >= 1000
        else f"{value:.3g}"
        if abs(value) >= 1e-3 or value == 0
        else f"{value:.4f}"
    )


def explain_rank(result: Result, rank: int) -> Explanation:
    """A ranked candidate. Errors: UsageError where there is no such rank."""
    if not 1 <= rank <= len(result.choices):
        raise UsageError(f"rank is {rank}", f"1 to {len(result.choices)}", "choose a candidate of this run")
    choice = result.choices[rank - 1]
    scan = result.scans[choice.scan]
    row, col, _, _ = placement(scan, choice.item)
    return _explained(result, scan, (row, col), 0.0)


def explain_at(result: Result, lon: float, lat: float, scan: int = 0) -> Explanation:
    """The placement whose centre is nearest to a place (WGS 84 degrees), in a parcel or not.

    Arguments: scan, which house and bearing. Errors: UsageError for a place outside the grid or the earth.
    """
    if not (abs(lon) <= 180 and abs(lat) <= 90):
        raise UsageError(f"place is {lon}, {lat}", "longitude -180 to 180, then latitude -90 to 90", "swap or correct")
    one = result.scans[scan]
    grid = one.frame.grid
    along, across = grid.from_map(*transformer("EPSG:4326", grid.crs_wkt).transform(lon, lat))
    where = np.array([(grid.north_m - across) / grid.cell_m, (along - grid.west_m) / grid.cell_m])
    if not (np.isfinite(where).all() and (where >= 0).all() and (where < grid.shape).all()):
        raise UsageError(
            f"{lon}, {lat} is outside the data of this run", "a place on the farm", "check the order: lon lat"
        )
    row, col = (int(value) for value in where)
    centre = one.centre(row * grid.cols + col)
    return _explained(result, one, (row, col), float(np.hypot(along - centre[0], across - centre[1])))


def _explained(result: Result, scan: Scan, cell: tuple[int, int], moved_m: float) -> Explanation:
    frame, centre = scan.frame, scan.centre(cell[0] * scan.frame.grid.cols + cell[1])
    inside = np.flatnonzero(shapely.intersects_xy(frame.parcels, float(centre[0]), float(centre[1])))
    name = frame.parcel_names[inside[0]] if len(inside) else None
    pad = rectangle(float(centre[0]), float(centre[1]), scan.pad.length_m, scan.pad.width_m)
    rules = _ground_rules(result, scan, pad, int(inside[0]) if len(inside) else None)
    checks, here = _criteria(result.judges, *_measures(result, scan, cell), result.settings.combine)
    known = bool(np.isfinite(_pad_top(result, scan, cell)))
    no_data = RuleCheck("no_data", "Heights known under the whole pad", "", float(known), 1.0, known,
                        change="" if known else "get a DEM that covers this place")  # fmt: skip
    scored = [values[np.isfinite(values)] for values in result.scored]
    index = cell[0] * frame.grid.cols + cell[1]
    item = int(np.searchsorted(scan.index, index))
    stored = item < len(scan.index) and int(scan.index[item]) == index
    number = next(k for k, one in enumerate(result.scans) if one is scan)
    score = float(result.scored[number][item]) if stored and np.isfinite(result.scored[number][item]) else None
    above = 0 if score is None else sum(int((values > score + 5e-7).sum()) for values in scored)
    rank = next((k for k, c in enumerate(result.choices, 1)
                 if result.scans[c.scan] is scan and int(scan.index[c.item]) == index), None)  # fmt: skip
    found = Explanation(scan.house.name, frame.grid.bearing_deg, name, moved_m, (*rules, no_data, *checks), score, here,
                        rank, above, sum(map(len, scored)))  # fmt: skip
    if rank or found.broken:
        return found
    return replace(found, not_listed=_not_listed(result, scan, cell, score))


def _not_listed(result: Result, scan: Scan, cell: tuple[int, int], score: float | None) -> str:
    """Why a placement that passes every rule is no candidate: candidates that overlap it, or too low a score."""
    if score is None:
        return "nothing that has a weight could be assessed there"
    own = _outline(scan, *cell)
    for rank, choice in enumerate(result.choices, 1):
        other = result.scans[choice.scan]
        over = shapely.area(shapely.intersection(own, _outline(other, *placement(other, choice.item)[:2])))
        if over > FIT_M and choice.score >= score - SCORE_STEP:
            return f"it overlaps candidate {rank}, which scores {choice.score:.1f}"
    if len(result.choices) < result.settings.top:
        return "the exact test against the vectors refused it, or it overlaps what was tried before it"
    last = result.choices[-1].score
    if last - score < SCORE_STEP:
        return f"the list ends with candidate {len(result.choices)}, which scores as much"
    return f"the list ends with candidate {len(result.choices)} at {last:.1f}: {last - score:.1f} points are missing"


def _outline(scan: Scan, row: int, col: int):
    """A footprint in the map coordinates that every bearing shares."""
    along, across = (float(value) for value in scan.centre(row * scan.frame.grid.cols + col))
    corners = shapely.get_coordinates(rectangle(along, across, scan.house.length_m, scan.house.width_m))
    return shapely.polygons(np.column_stack(scan.frame.grid.to_map(corners[:, 0], corners[:, 1])))


def _ground_rules(result: Result, scan: Scan, pad, parcel: int | None) -> list[RuleCheck]:
    """Boundary, keep-outs and structures with true distances [m]; below 0 = so far outside the parcel."""
    frame, setback = scan.frame, result.settings.setback_m
    home = frame.parcels[int(np.argmin(shapely.distance(frame.parcels, pad))) if parcel is None else parcel]
    over = shapely.difference(pad, home)
    out = shapely.area(shapely.difference(shrunk(pad), home)) > 0
    if out:
        margin = -float(shapely.distance(shapely.points(shapely.get_coordinates(over)), home).max())
    else:
        margin = float(shapely.distance(pad, shapely.boundary(home)))
    fits = parcel is not None and not out and margin >= setback - FIT_M
    need = "" if fits else f"the pad would have to lie {setback - margin:.2f} m farther in, or be smaller"
    checks = [RuleCheck("boundary", "Pad inside the parcel's setback", "m", margin, setback, fits, change=need)]
    house = shapely.buffer(pad, (scan.house.width_m - scan.pad.width_m) / 2, join_style="mitre")
    for bar in bars(frame, result.settings.clearance_m):
        gap, wanted = float(shapely.distance(pad, bar.source).min()), bar.distance_m
        clear = not too_near(pad, bar)
        need = "" if clear else f"{wanted - gap:.2f} m more distance" if wanted > gap else "the pad must not touch it"
        own = f" (the house itself {shapely.distance(house, bar.source).min():.2f} m)"
        title = f"Pad clear of {bar.rule.partition(':')[2] or bar.rule}{own if bar.rule == 'structures' else ''}"
        checks.append(RuleCheck(bar.rule, title, "m", gap, wanted, clear, change=need))
    return checks


def _strip(result: Result, scan: Scan, cell: tuple[int, int]) -> Strip:
    mask = np.zeros((1, scan.frame.grid.cols), bool)
    mask[0, cell[1]] = True
    pitch, nudged = result.settings.pad_pitch, scan.ground.nudged
    return Strip(scan.frame, scan.house, scan.pad, (cell[0], cell[0] + 1), mask, pitch, nudged)


def _pad_top(result: Result, scan: Scan, cell: tuple[int, int]) -> float:
    return float(_strip(result, scan, cell).pad_max("ground")[0, cell[1]])


def _measures(result: Result, scan: Scan, cell: tuple[int, int]) -> tuple[dict[str, float], dict[str, float]]:
    """Every measure of one placement and its mark, whether or not an earlier rule rejects it (float32, as in a scan)."""
    strip = _strip(result, scan, cell)
    measures, marks = {}, {}
    for judge in result.judges:
        measure = np.asarray(judge.criterion.measure(strip, **judge.parameters), np.float32)
        truth = None
        if judge.criterion.truth is not None:
            truth = Truth(*(part[0, cell[1]] for part in truth_of(judge, strip, measure)))
        measures[judge.id] = float(measure[0, cell[1]])
        marks[judge.id] = float(marks_from(judge.rubric, np.float64(measures[judge.id]), truth))
    return measures, marks


def _criteria(
    judges: list[Judge], measures: dict[str, float], marks: dict[str, float], combine: str
) -> tuple[list[RuleCheck], float | None]:
    """A check per criterion, and the score; points are shares of the score, so they are given for the weighted mean only."""
    total = sum(j.rubric.weight for j in judges if not np.isnan(marks[j.id]))
    checks, score = [], 0.0
    for j in judges:
        value, known, rubric = measures[j.id], not np.isnan(marks[j.id]), j.rubric
        # in single precision, as in the scan: what it kept at its very limit is not rejected here
        passed = (
            (None if rubric.limit is not None else True) if not known else not bool(rubric.beyond(np.float32(value)))
        )
        share = 100 * rubric.weight / total if known and total > 0 and combine == "mean" else None
        points = None if share is None else share * marks[j.id]
        score += points or 0.0
        unit, way = j.criterion.description.unit, "at least" if rubric.rises else "at most"
        need = f"{way} {_told(rubric.limit)} {unit}, now {_told(value)}" if passed is False else ""
        checks.append(RuleCheck(j.id, j.criterion.description.title, unit, value if known else None, rubric.limit, passed,
                                marks[j.id] if known else None, rubric.weight, points,
                                None if share is None else share - points, need))  # fmt: skip
    if combine != "mean":
        weights = np.array([j.rubric.weight for j in judges])
        found = float(combined(np.array([[marks[j.id]] for j in judges]), weights, combine)[0])
        return checks, None if np.isnan(found) else 100 * found
    return checks, score if total > 0 else None
