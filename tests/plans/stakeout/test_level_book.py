"""Level books: reduction, closure, adjustment, and errors that name the line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.stakeout.level_book import parse_level_book, reduce_level_book

BOOK = """station,backsight,intermediate,foresight,remarks
BM,4.32,,,nail in the oak
NE,,5.10,,
NW,,6.87,,"low, wet"
TP1,3.05,,7.41,
SE,,4.00,,
BM,,,-0.0,
"""


def _closing(text: str, foresight: str) -> str:
    return text.replace("-0.0", foresight)


def test_a_book_worked_by_hand() -> None:
    # BM 100 ft: HI 104.32; NE 99.22; NW 97.45; TP1 96.91; HI 99.96; SE 95.96; BM read as 0.04: 99.92, worked by hand.
    book = _closing(BOOK, "0.04")
    run = reduce_level_book(parse_level_book(book, "ft"), {"BM": 100 * FOOT_M})
    raw = [row.raw_m / FOOT_M for row in run.rows]
    assert raw == pytest.approx([100, 99.22, 97.45, 96.91, 95.96, 99.92])
    assert [row.setup for row in run.rows] == [1, 1, 1, 1, 2, 2]
    assert run.setups == 2
    assert run.misclosure_m / FOOT_M == pytest.approx(-0.08)
    # allowed 0.02 ft x sqrt(2) = 0.0283 ft [@level-misclosure]: 0.08 is too much
    assert run.allowed_m / FOOT_M == pytest.approx(0.0283, abs=1e-4)
    assert run.closes is False and not run.adjusted and "Does NOT close" in run.verdict
    assert [row.height_m for row in run.rows] == [row.raw_m for row in run.rows]


def test_rise_and_fall_are_differences_of_successive_readings() -> None:
    run = reduce_level_book(parse_level_book(_closing(BOOK, "0.00"), "ft"), {"BM": 100 * FOOT_M})
    rises = [row.rise_m / FOOT_M for row in run.rows[1:]]
    assert rises == pytest.approx([-0.78, -1.77, -0.54, -0.95, 4.00])
    # The usual check of the book: sum of backsights less foresights = sum of rises = last less first.
    assert sum(rises) == pytest.approx(4.32 + 3.05 - 7.41 - 0.0)
    assert sum(rises) == pytest.approx((run.rows[-1].raw_m - run.rows[0].raw_m) / FOOT_M)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.2, 3), st.floats(0.2, 3), st.integers(0, 3)), min_size=1, max_size=8),
    st.floats(-3, 3),
)
def test_adjustment_is_the_least_squares_one(setups: list[tuple[float, float, int]], error_mm: float) -> None:
    """Reference: all instrument and turning-point heights as unknowns, every reading an equal observation
    (numpy.lstsq)."""
    start, n = 50.0, len(setups)
    lines, truth = ["station,backsight,intermediate,foresight"], start
    previous = 0.0
    observed = []  # (instrument, point or None, reading, name)
    for k, (back, fore, between) in enumerate(setups):
        lines.append(f"{'BM' if k == 0 else f'T{k}'},{back!r},,{'' if k == 0 else repr(previous)}")
        lines += [f"P{k}-{j},,{back + 0.01 * j!r}," for j in range(between)]
        previous = fore
        truth += back - fore
        observed.append((back, fore))
    lines.append(f"END,,,{previous!r}")
    known = {"BM": start, "END": truth + error_mm / 1000}
    run = reduce_level_book(parse_level_book("\n".join(lines)), known, allowed_per_setup_m=1.0)
    # unknowns: instrument heights 0..n-1, turning points n..2n-2
    rows, values = [], []
    for k, (back, fore) in enumerate(observed):
        row = np.zeros(2 * n - 1)
        row[k], value = 1, back
        if k:
            row[n + k - 1] = -1
        else:
            value += start
        rows.append(row)
        values.append(value)
        row, value = np.zeros(2 * n - 1), -fore
        row[k] = -1
        if k < n - 1:
            row[n + k] = 1
        else:
            value -= known["END"]
        rows.append(row)
        values.append(value)
    best, *_ = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)
    heights = run.heights_m()
    for k, (back, _, between) in enumerate(setups):
        if k:
            assert heights[f"T{k}"] == pytest.approx(best[n + k - 1], abs=1e-9)
        for j in range(between):
            assert heights[f"P{k}-{j}"] == pytest.approx(best[k] - (back + 0.01 * j), abs=1e-9)
    assert heights["END"] == pytest.approx(known["END"], abs=1e-9)
    assert run.adjusted and run.misclosure_m == pytest.approx(-error_mm / 1000, abs=1e-9)


def test_a_run_on_nothing_known_is_not_called_checked() -> None:
    text = "station,backsight,intermediate,foresight\nBM,1.0,,\nX,,,2.0\n"
    run = reduce_level_book(parse_level_book(text), {"BM": 10.0})
    assert (
        run.closes is None and run.misclosure_m is None and not run.adjusted and run.verdict.startswith("Not checked")
    )


def test_units_are_carried_exactly() -> None:
    text = "station,backsight,intermediate,foresight\nBM,10,,\nBM,,,10\n"
    for unit, metre in (("m", 1.0), ("ft", 0.3048), ("us-ft", 1200 / 3937)):
        book = text if unit != "m" else text.replace("10", "1.0")
        first = parse_level_book(book, unit)[0]
        assert first.backsight_m == pytest.approx((10 if unit != "m" else 1) * metre, rel=1e-15)
    with pytest.raises(UsageError, match="unit"):
        parse_level_book(text, "yd")


def test_stations_read_twice_are_averaged_and_their_spread_shown() -> None:
    text = "station,backsight,intermediate,foresight\nBM,1.5,,\nA,,1.000,\nA,,1.004,\nBM,,,1.5\n"
    run = reduce_level_book(parse_level_book(text), {"BM": 10.0})
    assert run.heights_m()["A"] == pytest.approx(9.5 + 0.998)
    assert run.spreads_m()["A"] == pytest.approx(0.004)
    assert run.spreads_m()["BM"] == pytest.approx(0.0)


def test_blank_lines_byte_order_mark_spaces_and_column_order_do_no_harm() -> None:
    text = (
        "\ufeff Foresight ,STATION,backsight,Intermediate\r\n\r\n, BM , 1.5 ,\r\n,,,\r\n,  N  E ,,1.2\r\n1.5,BM,,\r\n"
    )
    found = parse_level_book(text)
    assert [(row.line, row.station) for row in found] == [(3, "BM"), (5, "N E"), (6, "BM")]


HEAD = "station,backsight,intermediate,foresight,remarks\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "starts with nothing"),
        ("name,bs,is,fs\n", "names the columns"),
        (HEAD.replace("remarks", "station"), "names the columns"),
        (HEAD, "0 readings"),
        (HEAD + "BM,1.0,,,\n", "1 readings"),
        (HEAD + "BM,1.0,,,\nA,,abc,,\nBM,,,1,\n", "line 3: intermediate is 'abc'"),
        (HEAD + "BM,1.0,,,\nA,,1;2,,\nBM,,,1,\n", "line 3: intermediate is '1;2'"),
        (HEAD + 'BM,1.0,,,\nA,,"1,25",,\nBM,,,1,\n', "line 3.*comma"),
        (HEAD + "BM,1.0,,,\nA,,nan,,\nBM,,,1,\n", "line 3.*finite"),
        (HEAD + "BM,1.0,,,\nA,,-0.5,,\nBM,,,1,\n", "line 3: intermediate is -0.5 m"),
        (HEAD + "BM,1.0,,,\nA,,125,,\nBM,,,1,\n", "slip of the decimal point"),
        (HEAD + "BM,1.0,,,\nA,,1.2,1.3,\nBM,,,1,\n", "line 3 has an intermediate and another"),
        (HEAD + "BM,1.0,,,\nA,,,,dry\nBM,,,1,\n", r"line 3 \(A\) has no reading"),
        (HEAD + "BM,1.0,,,\n,,1.2,,\nBM,,,1,\n", "line 3 has readings but no station"),
        (HEAD + "BM,1.0,,,\nA,,1.2,,a,b\nBM,,,1,\n", "line 3 has 6 cells"),
        (HEAD + "BM,,,1.0,\nA,,1.2,,\nBM,,,1,\n", "does not start with a backsight"),
        (HEAD + "BM,1.0,,,\nA,,1.2,,\nB,,1.1,,\n", "does not end with a foresight"),
        (HEAD + "BM,1.0,,,\nA,1.2,,,\nBM,,,1,\n", r"line 3 \(A\) has a backsight but no foresight"),
        (HEAD + "BM,1.0,,,\nA,,,1.2,\nB,,1.0,,\nBM,,,1,\n", r"line 3 \(A\) has a foresight but the book goes on"),
        (HEAD + 'BM,1.0,,,"\nA,,1.2,,', "line"),
        (HEAD + "BM,1.0,,,\n" + "A,,1.2,,\n" * 10_001 + "BM,,,1,\n", "more than 10000 lines"),
    ],
)
def test_broken_books_are_refused_with_their_line(text: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words) as caught:
        parse_level_book(text, name="book.csv")
    assert "book.csv" in str(caught.value) and caught.value.exit_status == 3


@pytest.mark.parametrize("known", [{}, {"X": 1.0}, {"BM": math.nan}, {"BM": 1.0, "X": math.inf}])
def test_a_start_without_a_height_is_refused(known: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="'BM'"):
        reduce_level_book(parse_level_book(_closing(BOOK, "0.0"), "ft"), known)
