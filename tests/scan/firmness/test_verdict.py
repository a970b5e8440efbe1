"""One verdict: firm for a planted winner, a tie for mirror images, and the same to the digit wherever it is told."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import shapely

from tests.scan.grounds import site
from tunnelsite import Settings, screen
from tunnelsite.core.house import House
from tunnelsite.hosts.cli.main import main
from tunnelsite.hosts.cli.screening import summary_of
from tunnelsite.hosts.cli.screening_words import words_of
from tunnelsite.scan.firmness.rank_shares import WET_FIRST
from tunnelsite.scan.firmness.ties import undecided
from tunnelsite.scan.firmness.verdict import Verdict, verdict_of, verdict_record, why_words
from tunnelsite.screening.kept_run import keep_run, kept_run

WEST, NORTH = 499_900.0, 4_700_100.0


def screened(ground: np.ndarray, left_m: float, right_m: float):
    """Two parcels of 16 by 26 m at two distances from the west edge, one option each."""
    parcels = [shapely.box(WEST + x, NORTH - 62, WEST + x + 26, NORTH - 46) for x in (left_m, right_m)]
    settings = Settings(halo_m=20, top=2, per_parcel=1, azimuths=8, elevation_error_m=0.05, kind="container")
    return screen(site(ground, parcels), House(6, 12, kind="container"), settings=settings)


@pytest.fixture(scope="module")
def planted():
    """The west on a level terrace, the east on 4 % across the ridge."""
    r, c = np.mgrid[0:110, 0:140].astype(float)
    ground = (
        100 + np.where(c < 70, -0.004 * (r - 55), -0.04 * (r - 55)) + np.random.default_rng(1).normal(0, 0.003, r.shape)
    )
    return screened(ground, 20, 90)


@pytest.fixture(scope="module")
def mirrored():
    """Two places that are each other's mirror image in a meridian."""
    r, c = np.mgrid[0:110, 0:140].astype(float)
    away = np.abs(c - 69.5)
    ground = 100 - 0.012 * (r - 55) + 0.15 * np.sin(away / 9) * np.sin(r / 11)
    return screened(ground, 20, 94)


def drawn_little(result, **changed):
    """The run with other options, drawn 20 times: what is tested of it is the same in any number of draws."""
    return replace(result, settings=result.settings.model_copy(update={"draws": 20}), **changed)


def test_a_planted_winner_is_firm(planted):
    found = planted.verdict
    assert planted.rows[0]["lon"] < planted.rows[1]["lon"]
    assert found.first > 0.95 and found.words == "firm" and found.tied == () and found.runner_up == 2
    assert "Option 1 stays first in" in found.sentence and "% of 200 draws" in found.sentence
    assert "water routed again" in found.sentence and found.sentence.endswith("Its lead is firm.")


def test_mirror_images_share_the_first_rank_and_tie(mirrored):
    found = mirrored.verdict
    assert mirrored.rows[0]["score"] == pytest.approx(mirrored.rows[1]["score"], abs=0.5)
    assert found.first == pytest.approx(0.5, abs=0.12) and found.runner_up_first == pytest.approx(1 - found.first)
    assert found.words in ("a close call", "not settled") and found.tied == (2,)
    assert "Option 2 ties with option 1" in found.sentence


def test_equal_scores_are_no_firm_lead(mirrored):
    """Nothing but equal marks: every draw is a tie, which the first of the list does not win."""
    twice = drawn_little(mirrored, choices=[mirrored.choices[0]] * 2)
    found = twice.verdict
    assert (found.first, found.runner_up_first, found.tied, found.words) == (0.5, 0.5, (2,), "a close call")


def test_one_verdict_everywhere(mirrored, tmp_path, capsys):
    path, run = tmp_path / "run.npz", drawn_little(mirrored)
    keep_run(run, path, overwrite=False)
    assert kept_run(path).verdict == run.verdict
    capsys.readouterr()
    assert main(["robustness", str(path), "--json", "-q"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == json.loads(json.dumps(verdict_record(run.verdict)))
    assert main(["robustness", str(path), "-q"]) == 0
    assert run.verdict.sentence in capsys.readouterr().out


def test_words_of_few_options(planted):
    alone = drawn_little(planted, choices=planted.choices[:1])
    assert alone.verdict.words == "the only option" and alone.verdict.runner_up is None
    assert replace(planted, choices=[]).verdict is None


@pytest.mark.parametrize(
    ("first", "words"), [([0.92, 0.08], "firm"), ([0.85, 0.15], "fairly firm"), ([0.7, 0.3], "fairly firm"), ([0.5, 0.5], "a close call"), ([0.2, 0.8], "not settled")]
)  # fmt: skip
def test_words_follow_the_share(planted, first, words):
    found = replace(planted.rank_shares, first=np.array(first), behind=np.array([0.5, first[0]]))
    verdict = verdict_of(found)
    assert isinstance(verdict, Verdict) and verdict.words == words
    assert words in verdict.sentence and verdict.tied == (() if words == "firm" else (2,))
    assert ("ties with" in verdict.sentence) == (
        words in ("a close call", "not settled")
    )  # a lead and a tie contradict each other


@pytest.mark.parametrize(
    ("means", "out", "why"),
    [
        ([90.0, 93.2], [0.3, 0.01], "option 2 scores 93.2 on average and option 1 90.0, and a limit rejects them 1 % and 30 % of the time"),
        ([90.0, 93.2], [0.0, 0.01], "option 2 scores 93.2 on average and option 1 90.0."),
        ([93.2, 90.0], [0.0, 0.0], "Option 2 scores no more within the errors of the heights: other weights bring it forward."),
    ],
)  # fmt: skip
def test_who_is_sent_to_another_option_hears_why_and_what_speaks_against_it(planted, means, out, why):
    unsettled = {
        "first": np.array([0.2, 0.8]),
        "behind": np.array([0.5, 0.2]),
        "score_mean": np.array(means),
        "out": np.array(out),
    }
    flags = ("", "within 3/4 in per 12 ft as it lies; dark: 5 % of the sun in December; soil: well drained (B)")
    found = verdict_of(replace(planted.rank_shares, **unsettled, flags=flags))
    assert why in found.sentence and "Flags of option 2: dark: 5 % of the sun in December." in found.sentence
    plain = verdict_of(replace(planted.rank_shares, **unsettled, flags=("dark: 1 %", flags[1][:34])))
    assert "Flags" not in plain.sentence
    leads = replace(planted.rank_shares, first=np.array([0.85, 0.15]), behind=np.array([0.5, 0.85]), flags=flags)
    assert "look there, too" in verdict_of(leads).sentence and "Flags of option 2: dark" in verdict_of(leads).sentence
    assert verdict_of(leads).ties_of(["A", "B"]).endswith("Flags of option B: dark: 5 % of the sun in December.")
    several = replace(verdict_of(leads), tied=(2, 3, 4), options=4, flags=("", "dark", "", "dark"))
    assert several.ties_of(["A", "B", "C", "D"]).endswith("level before you choose. Flags of options B and D: dark.")


def test_the_screens_answer_tells_it(mirrored, tmp_path):
    fresh = replace(mirrored)
    assert not any(
        row["name"] == "verdict" for row in fresh.tables["run"].rows
    )  # it takes seconds, so only where asked for
    _ = mirrored.rank_shares
    mirrored.__dict__.pop("tables", None)
    summary = summary_of(mirrored, tmp_path / "sites.gpkg", 1.0)
    assert summary["verdict"]["first"] == mirrored.verdict.first
    words = words_of(summary, False)
    assert words.count(mirrored.verdict.sentence) == 1
    assert all(text in words for text in undecided(mirrored)) and undecided(mirrored)
    told = [row["value"] for row in mirrored.tables["run"].rows if row["name"] == "verdict"]
    assert told == [mirrored.verdict.sentence]


def test_a_close_call_names_the_option_that_holds_up_better(planted):
    """A score counts no doubt of the water: an option that a limit rejects half the time is not sent ahead without a word."""
    close = {"first": np.array([0.5, 0.4]), "behind": np.array([0.5, 0.5]), "out": np.array([0.46, 0.0])}
    found = replace(planted.rank_shares, **close, score_mean=np.array([47.6, 74.5]))
    said = verdict_of(found).sentence
    assert (
        "Its lead is a close call. Within the errors of the heights option 2 scores 74.5 on average and option 1 47.6, and a limit "
        "rejects them 0 % and 46 % of the time. Option 2 is the safer choice. Option 2 ties with option 1" in said
    )
    assert "option B scores 74.5 on average and option A 47.6" in why_words(found, "a close call", 2, ["A", "B"])
    assert verdict_of(replace(found, score_mean=np.array([73.0, 74.5]))).why == "", "a hair's difference is no reason"


def test_no_option_whose_water_was_not_routed_is_called_the_safer(planted):
    """Its mean counts no water, so it stands higher for that alone."""
    count = WET_FIRST + 1
    far = {
        "first": np.full(count, 1 / count),
        "behind": np.full(count, 0.5),
        "out": np.zeros(count),
        "flags": ("",) * count,
    }
    found = replace(planted.rank_shares, **far, score_mean=np.array([80.0] * WET_FIRST + [95.0]))
    assert verdict_of(found).why == ""
