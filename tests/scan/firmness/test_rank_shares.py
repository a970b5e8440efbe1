"""Drawn grounds and weights: against closed forms, brute force and the run itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.special import ndtr

from tests.scan.grounds import hills, site
from tunnelsite import Settings, screen
from tunnelsite.core import catalogue
from tunnelsite.core.elevation_error import CELL_ERROR, ErrorModel
from tunnelsite.core.errors import UsageError
from tunnelsite.core.house import House
from tunnelsite.kernels.terrain.plane_error import slope_error
from tunnelsite.scan.combine import combined
from tunnelsite.scan.firmness import drawn_ground
from tunnelsite.scan.firmness.drawn_ground import drawn_measures, reading_only
from tunnelsite.scan.firmness.elsewhere import best_everywhere
from tunnelsite.scan.firmness.other_weights import candidate_marks, candidates_over_shifts, drawn_weights
from tunnelsite.scan.firmness.rank_shares import DrawPlan, rank_shares, ranked_scores, unknown_marks
from tunnelsite.scan.judge import ScoresHere
from tunnelsite.scan.marks import marks_of
from tunnelsite.scan.pitch_error import PitchError, stated_error
from tunnelsite.scan.ranking import RankedPlacement, RankRules, ranked
from tunnelsite.scan.steady import steady_marks, steady_scores

HOUSES = [House(6, 12), House(5, 9.5)]
CRITERIA = catalogue.criteria()


@pytest.fixture(scope="module")
def result():
    """A screening of two houses and three bearings, its list made up of placements of all of them."""
    settings = Settings(halo_m=20, top=6, bearing_tolerance_deg=30, bearing_step_deg=30, azimuths=8)
    run = screen(site(hills(70, 90, 3)), HOUSES, settings=settings)
    picks = [
        RankedPlacement(k, item, float(run.scored[k][item]))
        for k, scores in enumerate(run.scored)
        for item in (int(np.argmax(scores)), int(np.argsort(scores)[len(scores) // 2]))
    ]
    return replace(run, choices=sorted(picks, key=lambda choice: -choice.score))


def chosen(result):
    return [(result.scans[choice.scan], choice.item) for choice in result.choices]


def alone(result, model, hidden=(0.0, 0.0)):
    """The error of the elevations, and nothing hidden unless said so."""
    return [PitchError(model, (0.0, 0.0), hidden) for _ in result.choices]


def drawn(result, errors, draws, seed=1):
    judges = reading_only(result.judges, CRITERIA, ("ground",))
    errors = alone(result, errors) if isinstance(errors, ErrorModel) else errors
    return drawn_measures(chosen(result), errors, judges, (draws, seed), result.settings.pad_pitch)


@pytest.mark.parametrize("range_m", [0.0, 4.0])
def test_without_error_every_measure_is_the_screenings(result, range_m):
    assert len({choice.scan for choice in result.choices}) == 6  # both houses on all bearings
    found = drawn(result, ErrorModel(0.0, range_m), 2)
    assert set(found.measures) == {"pitch", "roughness", "crown", "deepest_cut", "earthwork"}
    for name, values in found.measures.items():
        stored = [scan.measures[name][item] for scan, item in chosen(result)]
        assert values == pytest.approx(np.array([stored] * 2), rel=1e-5, abs=2e-6), name


@pytest.mark.parametrize("range_m", [0.0, 5.0])
def test_drawn_slopes_scatter_as_the_closed_form_says_and_ground_stays_as_rough(result, range_m):
    """1500 draws: a standard deviation is good to 1.8 %, tolerance four times that."""
    found = drawn(result, ErrorModel(0.05, range_m), 1500)
    for k, (scan, item) in enumerate(chosen(result)):
        sizes = (scan.house.length_m, scan.house.width_m, scan.frame.grid.cell_m)
        along, across = slope_error(*sizes, 0.05, range_m)
        assert found.slope_along[:, k].std() == pytest.approx(along, rel=0.075)
        assert found.slope_across[:, k].std() == pytest.approx(across, rel=0.075)
        # the crown takes the whole error too, so only what is off plane AND crown keeps its size; rms is off the plane
        crowned = found.measures["crown"][:, k]
        stored = {name: scan.measures[name][item] for name in ("roughness", "crown")}
        assert crowned.mean() == pytest.approx(stored["crown"], abs=4 * crowned.std() / np.sqrt(1500))
        part = _crown_rms2(scan, 1.0)
        off = (found.measures["roughness"][:, k] ** 2 - part * crowned**2).mean()
        assert off == pytest.approx(stored["roughness"] ** 2 - part * stored["crown"] ** 2, rel=0.1, abs=2e-7)


def _dry(result):
    """The same run without what water on drawn grounds goes on from, and without standard errors of what is not the pad's ground."""
    ground = [judge.id for judge in reading_only(result.judges, CRITERIA, ("ground",))]
    frames = {id(scan.frame): scan.frame for scan in result.scans}
    dry = {key: replace(frame, layers={"ground": frame.ground}) for key, frame in frames.items()}
    scans = [
        replace(
            scan, frame=dry[id(scan.frame)], truths={name: scan.truths[name] for name in ground if name in scan.truths}
        )
        for scan in result.scans
    ]
    return replace(result, scans=scans)


def _crown_rms2(scan, crown_m):
    """Mean square off the plane of a ground that is nothing but a crown of 1 m, by hand: crown = -c (w/2)^2, z = c (v^2 - mean)."""
    from tunnelsite.kernels.coverage import axis_weights

    width = scan.house.width_m / scan.frame.grid.cell_m
    weights = axis_weights(width)
    v2 = (np.arange(weights.size) - weights.size // 2) ** 2.0
    mean = np.average(v2, weights=weights)
    return np.average((v2 - mean) ** 2, weights=weights) * (crown_m / (width / 2) ** 2) ** 2


def test_fields_correlate_as_stated_across_houses_and_bearings(result):
    """Correlation exp(-(d / range)^2) between cells of different placements on differently turned grids, one field for all."""
    model, draws = ErrorModel(1.0, 30.0), 1500
    patches = list(drawn_ground._patches(chosen(result), alone(result, model)))
    assert len({patch.scan.frame.grid.bearing_deg for patch in patches}) > 1
    at, values = [], []
    for patch in patches:
        grid = patch.scan.frame.grid
        row, col = np.divmod(patch.cells[:, ::6, ::6].ravel(), grid.cols)
        at.append(np.column_stack(grid.to_map(*grid.centre(row, col))))
    for draw in range(draws):
        errors = drawn_ground._errors(patches, 30.0, (7, draw))[0]
        values.append(np.concatenate([error[:, ::6, ::6].ravel() for error in errors]))
    at, values = np.concatenate(at), np.array(values)
    gap = np.linalg.norm(at[:, None] - at[None], axis=2)
    found = values.T @ values / draws
    assert (
        np.abs(found - np.exp(-((gap / 30) ** 2))).max() < 5.5 / np.sqrt(draws) * 1.5
    )  # many pairs: five and a half sd
    assert np.abs(np.diag(found) - 1).max() < 5 * np.sqrt(2 / draws)


def test_independent_errors_are_shared_where_pads_share_cells(result):
    scan = result.scans[0]
    item = len(scan.index) // 2
    patches = list(drawn_ground._patches([(scan, item), (scan, item)], alone(result, ErrorModel(1.0, 0.0))[:2]))
    one, two = drawn_ground._errors(patches, 0.0, (1, 0))[0][0]
    assert np.array_equal(one, two) and one.std() == pytest.approx(1, abs=0.2)


def test_seeds_repeat_whatever_the_memory_and_draws_do_not_depend_on_their_number(result, monkeypatch):
    one = drawn(result, ErrorModel(0.1, 5.0), 12, seed=4)
    monkeypatch.setattr(drawn_ground, "CELLS_AT_ONCE", 5000)
    two = drawn(result, ErrorModel(0.1, 5.0), 8, seed=4)
    for name, values in one.measures.items():
        assert values[:8] == pytest.approx(two.measures[name], rel=1e-4, abs=2e-6)
    plan = DrawPlan(0.1, 5.0, draws=8, seed=9)
    a, b = rank_shares(result, CRITERIA, plan), rank_shares(result, CRITERIA, plan)
    assert np.array_equal(a.shares, b.shares) and np.array_equal(a.within, b.within)
    other = rank_shares(result, CRITERIA, replace(plan, seed=10))
    assert not np.array_equal(a.shares, other.shares)


@pytest.mark.parametrize("range_m", [0.0, 5.0])
def test_chance_of_a_level_pitch_is_the_closed_form(result, range_m):
    found = rank_shares(_dry(result), CRITERIA, DrawPlan(0.08, range_m, draws=1000))
    error = np.sqrt(np.maximum(found.within_exact * (1 - found.within_exact), 1e-3) / 1000)
    assert (np.abs(found.within - found.within_exact) < 4 * error).all()
    assert found.within_exact.max() > 0.05


def test_shares_against_a_plain_loop(result):
    """Every draw marked, scored and ranked by hand, one candidate after another; water stays as it is, nothing has a standard
    error but the pad's ground."""
    result = _dry(result)
    plan = DrawPlan(0.05, 5.0, draws=60, seed=3, k=2)
    found = rank_shares(result, CRITERIA, plan)
    measured = drawn(result, list(found.errors), 60, seed=3)
    weights = np.array([judge.rubric.weight for judge in result.judges])
    random = drawn_weights(weights, plan.concentration, 60, 3)
    count = len(result.choices)
    tally, out = np.zeros((count, count)), np.zeros(count)
    unknown = unknown_marks(len(result.judges), plan)
    over_shifts = candidates_over_shifts(result)  # moved by what the drawn ground makes of the exact place
    for draw in range(60):
        scores = []
        for k, (scan, item) in enumerate(chosen(result)):
            marks, rejected = [], False
            for judge in result.judges:
                value = measured.measures.get(judge.id)
                value = scan.measures[judge.id][item] if value is None else value[draw, k]
                rejected |= bool(judge.rubric.beyond(np.float64(value)))
                share = over_shifts.unknown[k, len(marks)]
                mark = over_shifts.counted[k, len(marks)] - 0.5 * share
                if judge.id in measured.measures:
                    here = marks_of(scan, judge, np.array([item]))[0]
                    moved = (1 - share) * (judge.rubric.marks(np.float64(value)) - here)
                    mark = np.clip(mark + moved, 0, 1 - share) if np.isfinite(moved) else mark
                marks.append([mark + share * unknown[draw, len(marks)]])
            scores.append(-1.0 if rejected else round(float(combined(np.array(marks), random[draw])[0]), 8))
            out[k] += rejected
        for k in range(count):
            if scores[k] >= 0:
                better = sum(s > scores[k] or (s == scores[k] and j < k) for j, s in enumerate(scores))
                tally[k, better] += 1
    assert np.allclose(found.shares * 60, tally, atol=1e-9)  # counts, through a division
    assert np.allclose(found.out * 60, out, atol=1e-9)
    assert out.sum() > 0
    assert found.shares.sum(axis=1) + found.out == pytest.approx(1)
    assert found.top == pytest.approx(tally[:, :2].sum(axis=1) / 60)


def test_two_slopes_are_told_apart_as_often_as_by_hand():
    """Two parcels on 3.0 % and 3.1 % along the ridge, pitch alone weighed, independent errors: the flatter one is first with the
    chance Phi((s2 - s1) / (sqrt(2) sd)), where the slope's sd is the closed form's (derived)."""
    c = np.mgrid[0:40, 0:80][1]
    ground = 100 + np.where(c < 40, 0.030 * c, 0.031 * c)
    west, north = 499_900.0, 4_700_100.0
    parcels = [shapely.box(west + x, north - 22, west + x + 20, north - 12) for x in (10, 50)]
    weight = {criterion.id: 0.0 for criterion in CRITERIA if not criterion.needs and criterion.id != "pitch"}
    settings = Settings(halo_m=8, top=2, azimuths=8, kind="container", weight=weight | {"pitch": 1.0})
    run = screen(site(ground, parcels), House(6, 12, kind="container"), settings=settings)
    assert sorted(round(row["pitch_along_pct"], 2) for row in run.rows) == [3.0, 3.1]
    draws, sd = 1500, 0.05
    found = rank_shares(run, CRITERIA, DrawPlan(sd, 0.0, draws=draws))
    along, _ = slope_error(12.0, 6.0, 1.0, sd, 0.0)
    chance = ndtr(0.001 / (np.sqrt(2) * along))
    assert 0.6 < chance < 0.95
    assert found.first[0] == pytest.approx(chance, abs=4 * np.sqrt(chance * (1 - chance) / draws))
    assert found.first_by_weights.tolist() == [1.0, 0.0]


def test_what_the_cells_hide_tilts_each_placement_for_itself(result):
    """1500 draws: a standard deviation is good to 1.8 %, a correlation to 0.026; tolerances four times that."""
    found = drawn(result, alone(result, ErrorModel(0.0, 5.0), (0.004, 0.009)), 1500)
    for slopes, sd in ((found.slope_along, 0.004), (found.slope_across, 0.009)):
        assert slopes.std(axis=0) == pytest.approx(np.full(12, sd), rel=0.075)
        assert np.abs(np.corrcoef(slopes.T) - np.eye(12)).max() < 0.11
    assert abs(np.corrcoef(found.slope_along[:, 0], found.slope_across[:, 0])[0, 1]) < 0.11
    # a plane is moved, what is off the plane is not
    assert found.measures["roughness"] == pytest.approx(np.tile(found.measures["roughness"][0], (1500, 1)), abs=2e-6)


def test_a_model_coarser_than_the_grid_cannot_err_for_each_cell(result):
    frame = result.scans[0].frame
    coarse = replace(frame, dem_cell_m=10.0)
    assert stated_error(coarse, 0.1, 5.0) == ErrorModel(0.1, 10.0, own_m=10.0)
    assert stated_error(coarse, 0.1, 50.0).range_m == 50.0
    assert stated_error(frame, 0.1, 5.0) == ErrorModel(0.1, 5.0)
    assert stated_error(frame, None, None) == ErrorModel(0.10, 5.0, assumed=True)
    assert stated_error(coarse, None, None) == ErrorModel(0.82, 10.0, assumed=True, own_m=10.0)


def test_errors_that_the_survey_tells_count_by_their_root_mean_square(result):
    frame = result.scans[0].frame
    cells = np.full(frame.grid.shape, np.nan, np.float32)
    cells[0, :2] = 0.03, 0.21
    told = replace(frame, layers={**frame.layers, CELL_ERROR: cells}, error=None)
    assert stated_error(told, None, None).sd_m == pytest.approx(0.15, rel=1e-6)  # sqrt((0.03^2 + 0.21^2) / 2)
    assert stated_error(told, 0.05, None).sd_m == 0.05  # what the user states comes first


def test_one_error_of_the_pitch_everywhere(result):
    """The candidates' column, the closed form and the draws rest on the same numbers."""
    found = rank_shares(result, CRITERIA, DrawPlan(draws=4))
    for row, error, sd in zip(result.rows, found.errors, found.pitch_sd_pct, strict=True):
        steeper = 0 if abs(row["pitch_along_pct"]) > abs(row["pitch_across_pct"]) else 1
        assert row["pitch_se_pct"] == pytest.approx(sd[steeper]) == pytest.approx(100 * error.both[steeper])


@pytest.mark.parametrize("way", ["geometric", "lowest"])
def test_other_ways_to_combine(result, way):
    marks, weights = candidate_marks(result)[None], np.array([judge.rubric.weight for judge in result.judges])
    random = drawn_weights(weights, 20.0, 5, 2)
    found = ranked_scores(marks, random, way)
    for draw in range(5):
        assert found[draw] == pytest.approx(combined(marks[0], random[draw], way))
    with pytest.raises(ValueError, match="combine"):
        ranked_scores(marks, random, "sum")


@pytest.mark.parametrize(
    ("concentration", "way"), [(0.0, "mean"), (30.0, "mean"), (30.0, "geometric"), (30.0, "lowest")]
)
def test_the_best_of_all_options_against_a_plain_search(result, concentration, way):
    """Options far down the list win where any weights are as likely as any others, and are named."""
    listed_one = result.choices[-1:] if concentration == 0 else result.choices[:1]
    run = replace(result, settings=result.settings.model_copy(update={"combine": way}), choices=listed_one)
    winners = best_everywhere(run, concentration, draws=40, seed=5)
    weights = np.array([judge.rubric.weight for judge in run.judges])
    options = [(one.scan, one.item) for one in listed_one]
    options += [(one.scan, one.item) for one in ranked(run.scans, run.scored, RankRules(201, run.apart_m))]
    options = list(dict.fromkeys(options))
    marks = [
        steady_marks(run.scans[scan], np.array([item]), run.judges, run.settings.shift_m).counted[0]
        for scan, item in options
    ]
    first, elsewhere = 0, 0
    for row in drawn_weights(weights, concentration, 40, 5):
        scores = [round(float(combined(one[:, None], row, way)[0]), 8) for one in marks]
        won = scores.index(max(scores))
        first, elsewhere = first + (won == 0), elsewhere + (won > 0)
    assert sum(winner.share for winner in winners if winner.rank == 1) == pytest.approx(first / 40)
    assert sum(winner.share for winner in winners if winner.rank is None) == pytest.approx(elsewhere / 40)
    assert way == "lowest" or (elsewhere if concentration == 0 else first)  # weights do not grade the lowest mark


def _corners(run, scan, item):
    from tunnelsite.scan.ranking import footprint_corners

    return footprint_corners(run.scans[scan], item)


def test_the_given_weights_give_the_given_winner(result):
    best = max(range(6), key=lambda k: result.scored[k].max())
    winners = best_everywhere(result, 1e12, draws=20)
    assert result.choices[0].scan == best
    assert [(w.rank, w.share, w.better, w.scan, w.item) for w in winners] == [
        (1, 1.0, 0, result.choices[0].scan, result.choices[0].item)
    ]


def test_nothing_to_draw_for(result):
    with pytest.raises(UsageError, match="no candidates"):
        rank_shares(replace(result, choices=[]), CRITERIA, DrawPlan(0.1, 5.0))
    assert drawn_weights(np.array([0.0, 2.0]), 0.0, 3, 1).tolist() == [[0, 1]] * 3
    assert drawn_weights(np.array([0.0, 2.0]), 0.0, 1, 1).tolist() == [[0, 1]]
    mixed = [*alone(result, ErrorModel(0.1, 5.0))[1:], *alone(result, ErrorModel(0.1, 6.0))[:1]]
    with pytest.raises(ValueError, match="one range"):
        drawn(result, mixed, 2)


def test_what_is_not_known_of_one_option_is_no_firm_lead():
    """Two options alike but for a criterion of a third of the weight that is not known of the second: it may have full marks there or
    none, and comes first as often as its mark is the higher one. Not known of either, a criterion decides nothing."""
    plan = DrawPlan(draws=200)
    unknown = unknown_marks(3, plan)
    assert unknown.mean(axis=0) == pytest.approx(0.5) and (np.abs(np.corrcoef(unknown.T) - np.eye(3)) < 0.25).all()
    marks = np.repeat(np.array([[0.8, 0.8], [0.6, np.nan], [np.nan, np.nan]])[None], 200, axis=0)
    scores = ranked_scores(np.where(np.isnan(marks), unknown[..., None], marks), np.full((200, 3), 1 / 3), "mean")
    assert np.mean(scores[:, 1] > scores[:, 0]) == pytest.approx(0.4, abs=0.01)


def _partly_known(result):
    """The run without standard errors, the sun known at some of the spots of each shift and not at the exact places."""
    scans = []
    for number, scan in enumerate(result.scans):
        values = np.array(scan.measures["sun"])
        values[::3] = np.nan
        values[[choice.item for choice in result.choices if choice.scan == number]] = np.nan
        scans.append(replace(scan, measures={**scan.measures, "sun": values}, truths={}))
    scored = [steady_scores(scan, ScoresHere(scan, result.judges), result.settings.shift_m) for scan in scans]
    choices = [replace(one, score=float(scored[one.scan][one.item])) for one in result.choices]
    return replace(result, scans=scans, scored=scored, choices=choices)


def test_a_mark_known_only_within_the_shift_counts_as_in_the_screening(result):
    """What a run ranks by is what the draws begin with; what is known of no spot is drawn between none and full marks."""
    run = _partly_known(result)
    marks = candidates_over_shifts(run)
    at = [judge.id for judge in run.judges].index("sun")
    assert not marks.assessed[:, at].any()
    assert ((marks.unknown[:, at] > 0.2) & (marks.unknown[:, at] < 0.6)).all()
    given = [choice.score for choice in run.choices]
    plan = DrawPlan(draws=40, concentration=1e9)
    found = rank_shares(run, [], plan)  # no criterion of a catalogue: no ground is drawn
    assert found.score_mean == pytest.approx(given, abs=1e-5)
    weights = np.array([judge.rubric.weight for judge in run.judges])
    off = (unknown_marks(len(weights), plan) - 0.5) * (weights / weights.sum()) @ marks.unknown.T
    low, high = np.quantile(given + 100 * off, [0.05, 0.95], axis=0)
    assert np.ptp(off, axis=0).min() > 0.03
    assert found.score_low == pytest.approx(low, abs=0.01) and found.score_high == pytest.approx(high, abs=0.01)
    best = best_everywhere(run, 1e12, draws=5)
    assert [(one.share, one.better) for one in best] == [(1.0, 0)]


def test_a_limit_rejects_the_true_value_that_is_drawn_round_a_measure(result):
    """As often as the normal error says: 2000 draws, a share is good to four times 1.1 %."""
    judge = next(one for one in result.judges if one.id == "pitch")
    truths = [scan.truths["pitch"] for scan in result.scans]
    mean, se = (
        np.array([getattr(truths[one.scan], part)[one.item] for one in result.choices]) for part in ("mean", "se")
    )
    limit = float(mean.max() + 0.3 * se.max())
    strict = replace(judge, rubric=replace(judge.rubric, limit=limit))
    run = replace(
        result, judges=[strict], scans=[replace(scan, truths={"pitch": scan.truths["pitch"]}) for scan in result.scans]
    )
    found = rank_shares(run, [], DrawPlan(draws=2000))
    assert found.spread == ("pitch",)
    chance = ndtr((mean - limit) / se)
    assert found.out == pytest.approx(chance, abs=0.045) and chance.max() > 0.3
