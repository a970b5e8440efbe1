"""A screening's answer for people: the best options first, what was not assessed second, then what to do and the notes."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from tunnelsite.core import amounts
from tunnelsite.core.counting import counted
from tunnelsite.core.ridge_words import ridge_words
from tunnelsite.core.units import FOOT_M, INCH_M
from tunnelsite.core.wording import inside, place_words
from tunnelsite.screening.costly_limits import costly_limits
from tunnelsite.screening.may_be import bed_left_out_words, far_behind_words, may_be_words

MOST_REASONS = 40  # lines that a person still reads
ALL_PCT = 99.5  # of the weight: told as 100
SCARCE = 0.01  # of the placements tried: where fewer pass, the answer says which limits rejected most (ours)
MOST_PARCELS = 5  # without an option: named
IN_WORDS = 3  # options that get a sentence each
MONTHS = [
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
]  # fmt: skip


def words_of(summary: dict[str, Any], more: bool) -> str:
    """The summary as lines. Arguments: summary, of `screening_command.summary_of`; more, also every reason of a rejection."""
    found = summary["candidates"]
    lines = [f"DOUBT: {text}" for text in summary["doubts"]]
    if found:
        lines += [
            _opening(summary),
            "",
            *_table(found, summary["feet"]),
            "",
            *_sentences(found, summary),
            "",
            summary["verdict"]["sentence"],
            *summary["undecided"],
            *may_be_words(found),
            *far_behind_words(found),
            *bed_left_out_words(summary["rejections"]),
            *_left_out(summary["parcels_left_out"], summary["rejections"]),
            *_fewer(summary),
        ]
    else:
        lines.append(
            f"No place passes every limit: {summary['placements_tried']:,} placements tried{_took(summary, ' ({})')}."
        )
        lines += bed_left_out_words(summary["rejections"])
    lines += _relaxed(summary)
    lines += ["", *_not_assessed(summary["not_assessed"]), "", *_next(summary), ""]
    if not found or more:
        lines += [
            "Why placements were rejected, each by the first rule that it breaks:",
            *_rejections(summary["rejections"], more),
        ]
    lines += [f"note: {text}" for text in summary["notes"]]
    lines.append(
        f"Written to {summary['out']}. This is a screening, not a survey: level the site in the field, have buried"
    )
    lines.append("utilities marked before digging, and ask the local authority; local codes rule (see the run table).")
    return "\n".join(lines)


def _opening(summary: dict[str, Any]) -> str:
    found = summary["candidates"]
    sizes = list(dict.fromkeys(row["house"] for row in found))
    what = f"{len(found)} place{'s' * (len(found) > 1)} for a {' or '.join(sizes)} house"
    passed, tried = summary["placements_scored"], summary["placements_tried"]
    few = f" Few pass: read on before you choose.{_costliest(summary['rejections'])}" if passed < SCARCE * tried else ""
    return f"{what}, the best of {passed:,} placements that pass every limit ({tried:,} tried{_took(summary, ', {}')}).{few}"


def _took(summary: dict[str, Any], around: str) -> str:
    """How long it took; nothing where nothing was screened."""
    return around.format(f"{summary['seconds']:.1f} s") if summary["seconds"] else ""


def _costliest(rows: Sequence[dict[str, Any]]) -> str:
    """The limits that rejected most, in a sentence; empty where none rejected any."""
    most = [f"{inside(one.title)} ({one.rejected:,})" for one in costly_limits(rows)[:3]]
    return f" Limits that rejected most: {', '.join(most)}." if most else ""


def _table(rows: Sequence[dict[str, Any]], feet: bool) -> list[str]:
    """A line per option; the ridge's bearing where options differ in it."""
    turned = len({round(row["bearing_deg"], 1) for row in rows}) > 1  # each place has its own, by a hair
    ridge = "  ridge" if turned else ""
    lines = [f"{'rank':>4} {'score':>6} {'known':>5} {'room':>6}  {'parcel':<20} {'house':<9}{ridge} {'lat':>10} {'lon':>11}  "
             f"{'pitch % along/across':<20} {'cut':>9} {'light':>5}"]  # fmt: skip
    for row in rows:
        ridge = f"  {row['bearing_deg']:5.1f}" if turned else ""
        known = row["pitch_along_pct"] is not None
        pitch = f"{row['pitch_along_pct']:+.2f}/{row['pitch_across_pct']:+.2f}" if known else "not known"
        cells = (f"{row['rank']:>4} {row['score']:6.1f} {row['assessed_pct']:4.0f}% {_length(row['room_m'], feet):>6}",
                 f" {row['parcel'][:20]:<20} {row['house']:<9}{ridge} {row['lat']:10.6f} {row['lon']:11.6f} ",
                 f"{pitch:<20} {_earth(row['cut_m3'], feet):>9} {_share(_light(row)):>5}")  # fmt: skip
        lines.append(" ".join(cells))
    return lines


def _sentences(rows: Sequence[dict[str, Any]], summary: dict[str, Any]) -> list[str]:
    """The first options in words."""
    feet, shift = summary["feet"], summary["shift_m"]
    lines = []
    for row, drawn in zip(rows[:IN_WORDS], summary["drawn"], strict=False):
        parts = _ground(row, feet)
        if row.get("upslope_m2") is not None:
            parts.append(f"{amounts.land(row['upslope_m2'], feet=feet)} drain through the pad")
        if row.get("drainage_height_m") is not None:
            parts.append(f"{_length(row['drainage_height_m'], feet)} above the nearest drainage")
        if _light(row) is not None:
            parts.append(f"{_share(_light(row))} of the sun{_in_month(row)}")
        steady = ""
        if shift > 0:
            steady = _steady(row, feet, shift)
        steady += f" {drawn}" if drawn else ""
        flags = f" Flags: {row['flags']}." if row["flags"] else ""
        lines.append(f"{row['rank']}. {row['parcel']}: " + ", ".join(parts) + f".{steady}{flags}")
    return lines


def _steady(row: dict[str, Any], feet: bool, shift_m: float) -> str:
    """What becomes of an option whose house ends up a little off its stakes."""
    kept = row["score_lowest"] / row["score"] if row["score"] else 0.0
    share = f"at least {100 * kept:.0f} % of" if 100 * kept < ALL_PCT else "all of"
    words = f" Moved up to {_length(shift_m, feet)} it keeps {share} its score."
    if row["score_lowest"] == 0:
        words = f" Moved up to {_length(shift_m, feet)} it may break a limit."
    if row["room_m"] < shift_m:
        words += f" On one side it has room for {_length(row['room_m'], feet)} only: stake it with care."
    return words


def _ground(row: dict[str, Any], feet: bool) -> list[str]:
    """How the ground lies and what it takes to level it, where the elevation model shows that."""
    if row["pitch_along_pct"] is None:
        return ["the elevation model's cells are too wide to show how the ground lies"]
    se = row["pitch_se_pct"]
    pitch = max(abs(row["pitch_along_pct"]), abs(row["pitch_across_pct"]))
    doubt = "" if se is None else f" (give or take {se:.1f})" if se >= 0.05 else " (give or take less than 0.1)"
    return [f"falls {pitch:.1f} %{doubt}", _deepest(row["max_cut_m"], feet)]


def _deepest(cut_m: float, feet: bool) -> str:
    """The deepest cut; one that rounds to 0 in the unit shown is not known to be 0."""
    deep = f"{cut_m / INCH_M:.0f}" if feet else f"{100 * cut_m:.0f}"
    if deep == "0":
        return "no cut that the model can show"
    return f"cut at most {deep} {'in' if feet else 'cm'} deep"


def _light(row: dict[str, Any]) -> float | None:
    worst = row.get("beam_share_worst")
    share: float | None = row["beam_share"] if worst is None else worst
    return share


def _in_month(row: dict[str, Any]) -> str:
    month, share = row.get("worst_month"), row.get("beam_share_worst")
    if month is None or share is None or 100 * share >= ALL_PCT:  # of every month then
        return " of the crop months"
    return f" in {MONTHS[int(month) - 1]}, its darkest crop month"


def _left_out(rows: Sequence[dict[str, Any]], rejections: Sequence[dict[str, Any]]) -> list[str]:
    """Parcels without an option in the list, and why."""
    lines = [
        f"No option lies in {row['parcel']}: "
        + (
            f"no place passes every limit there{_why_none(row['parcel'], rejections)} (layer `rejections`)."
            if row["best"] is None
            else f"its best place scores {row['best']:.1f} (--per-parcel lists more parcels)."
        )
        for row in rows[:MOST_PARCELS]
    ]
    more = len(rows) - len(lines)
    return lines + ([f"Nor does one lie in {more:,} more parcel{'s' * (more > 1)}."] if more > 0 else [])


def _why_none(parcel: str, rejections: Sequence[dict[str, Any]]) -> str:
    """What rejected most in a parcel of the places that fit it; else why none fits."""
    mine = [row for row in rejections if row["parcel"] == parcel and row["rejected"]]
    fitting = [row for row in mine if row["rule"] != "boundary"]
    if not mine:
        return ""
    most = max(fitting or mine, key=lambda row: int(row["rejected"]))
    return f"; {'most that fit are rejected: ' if fitting else ''}{most['words']}"


def _fewer(summary: dict[str, Any]) -> list[str]:
    """Why there are fewer options than were wanted."""
    count, wanted = len(summary["candidates"]), summary["options_wanted"]
    if count >= wanted:
        return []
    apart = _length(summary["apart_m"], summary["feet"])
    most = summary["per_parcel"]
    parcel = f", with {most} a parcel at most (--per-parcel)" if most else ""
    return [
        f"{count} of {wanted} options wanted: options stand {apart} apart (--apart){parcel}, and what passes holds no more."
    ]


def _relaxed(summary: dict[str, Any]) -> list[str]:
    """What relaxing a limit would bring, and the least bad places."""
    lines = []
    if summary["relax"]:
        lines += ["", "What relaxing one limit would bring, the others as they are:"]
    for row in summary["relax"]:
        said = amounts.relaxed(row["relaxed_to"], row["limit_value"], row["unit"], feet=summary["feet"])
        more = counted(row["more_placements"], "more placement"), counted(row["more_options"], "more option")
        lines.append(f"  {inside(row['title'])} {said}: {', '.join(more)}")
    if summary["compromises"]:
        lines += [] if lines else [""]
        lines.append("Least bad places that break a limit (layer `compromises`); they are not recommended as they are:")
    lines += [
        f"  {row['parcel']}, {place_words(row['lon'], row['lat'])}: {row['breaks']}" for row in summary["compromises"]
    ]
    return lines


def _not_assessed(found: dict[str, Any]) -> list[str]:
    """What the answer does not know."""
    known = found["assessed_pct"]
    share = (
        ""
        if known is None
        else f" ({known:.0f} % of the weight was assessed; what the data do not show at an option counts half there)"
    )
    if known is not None and known > ALL_PCT:
        share = " (it has no weight in the score, and can rule out a place all the same)"
    return [f"Not assessed{share}:", *(f"  - {text}" for text in found["gaps"])]


def _next(summary: dict[str, Any]) -> list[str]:
    out = shlex.quote(str(summary["out"]))
    if not summary["candidates"]:
        return [
            f"Next: `tunnelsite explain {out} --at LON LAT` shows every rule at one place; a project file may set other limits."
        ]
    return [
        f"Next: walk the first options after heavy rain and check them with a level. `tunnelsite explain {out} --rank 1` shows every rule,",
        f"`tunnelsite report {out}` makes the page to hand over, `tunnelsite grading {out} --rank 1` and `stakeout` plan your choice.",
    ]


def _rejections(rows: Sequence[dict[str, Any]], more: bool) -> list[str]:
    """What each rule rejected, parcel by parcel in the order in which rules are tried; house and ridge where there are several."""
    several = len({(row["house"], row["bearing_deg"]) for row in rows}) > 1
    found = [
        row for row in rows if row["rejected"] or not row["tried"]
    ]  # what was not tried at all has its reason, too
    shown = found if more else found[:MOST_REASONS]
    lines = []
    for (parcel, house, bearing), some in groupby(shown, lambda row: (row["parcel"], row["house"], row["bearing_deg"])):
        head = f"  {parcel}, {house}, ridge {ridge_words(bearing)}:" if several else f"  {parcel}:"
        lines.append(head)
        for row in some:
            count = f"{row['rejected']:,} of {row['tried']:,} rejected: " if row["tried"] else ""
            lines.append(f"    {count}{row['words']}")
    if len(found) > len(shown):
        lines.append(f"  and {len(found) - len(shown):,} more: -v shows all, and the layer `rejections` holds them")
    return lines


def _length(value_m: float, feet: bool) -> str:
    return f"{value_m / FOOT_M:.0f} ft" if feet else f"{value_m:.1f} m"


def _earth(value_m3: float | None, feet: bool) -> str:
    if value_m3 is None:
        return "-"
    return f"{value_m3 / (3 * FOOT_M) ** 3:.1f} yd3" if feet else f"{value_m3:.1f} m3"


def _share(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f} %"
