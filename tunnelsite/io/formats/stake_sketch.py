"""The plan sketch of a stake-out sheet as SVG: ridge lying flat, a north arrow that says which way that is."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from html import escape

from tunnelsite.core.stake_sheet import StakePoint, StakeSheet
from tunnelsite.core.units import feet_inches

WIDTH = 1000.0  # of the drawing's own units; the page scales it
MARGIN = 34.0
INK, SOFT, CUT, FILL, LINE = "#1d2733", "#8a94a0", "#a33b12", "#1c5d99", "#2f6f4f"


def sketch_svg(sheet: StakeSheet) -> str:
    """The sketch: pad, footprint, both diagonals, strings to the batter boards, every stake, cut and fill at the grid.

    Marks differ in shape as well as in colour. It is drawn to scale; lengths stand beside it.
    """
    reach_u = max(abs(point.along_m) for point in sheet.points)
    reach_v = max(abs(point.across_m) for point in sheet.points)
    scale = (WIDTH - 2 * MARGIN) / (2 * reach_u)
    height = 2 * reach_v * scale + 2 * MARGIN

    def at(u: float, v: float) -> tuple[float, float]:
        return WIDTH / 2 + u * scale, height / 2 - v * scale

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" '
        f'aria-label="{escape("Plan of the stakes of " + sheet.title, quote=True)}">',
        _box(at, sheet.pad_length_m, sheet.pad_width_m, f'fill="#f4efe4" stroke="{SOFT}" stroke-dasharray="8 5"'),
        _box(at, sheet.length_m, sheet.width_m, f'fill="#ffffff" stroke="{INK}" stroke-width="2.5"'),
        *_strings(sheet, at),
        *_lengths(sheet, at),
        *(_stake(point, at) for point in sorted(sheet.points, key=_layer)),
        *_grid_names(sheet, at),
        _north(sheet.true_deg, height),
        _bar(sheet.feet, scale, height),
        "</svg>",
    ]
    return "\n".join(parts)


At = Callable[[float, float], tuple[float, float]]  # from distances along and across to the paper


def _layer(point: StakePoint) -> int:
    order = ("grid", "post", "square", "apron", "offset", "board", "corner", "bench")
    return order.index(point.kind) if point.kind in order else 0


def _box(at: At, length_m: float, width_m: float, look: str) -> str:
    x, y = at(-length_m / 2, width_m / 2)
    to_x, to_y = at(length_m / 2, -width_m / 2)
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{to_x - x:.1f}" height="{to_y - y:.1f}" {look}/>'


def _line(start: tuple[float, float], end: tuple[float, float], look: str) -> str:
    return f'<line x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" {look}/>'


def _text(place: tuple[float, float], words: str, look: str) -> str:
    return f'<text x="{place[0]:.1f}" y="{place[1]:.1f}" {look}>{escape(words)}</text>'


def _strings(sheet: StakeSheet, at: At) -> list[str]:
    """Strings over the batter boards, both diagonals and the 3-4-5 triangle."""
    parts = []
    boards = sheet.of_kind("board")
    for one in boards:  # each string runs between the two boards that share its line
        for other in boards:
            same_v = (
                one.across_m == other.across_m and one.along_m < other.along_m and abs(one.along_m) > sheet.length_m / 2
            )
            same_u = (
                one.along_m == other.along_m and one.across_m < other.across_m and abs(one.across_m) > sheet.width_m / 2
            )
            if (same_v and abs(abs(one.across_m) - sheet.width_m / 2) < 1e-6) or (
                same_u and abs(abs(one.along_m) - sheet.length_m / 2) < 1e-6
            ):
                ends = at(one.along_m, one.across_m), at(other.along_m, other.across_m)
                parts.append(_line(*ends, f'stroke="{SOFT}" stroke-width="1" stroke-dasharray="2 4"'))
    u, v = sheet.length_m / 2, sheet.width_m / 2
    for sign in (1, -1):
        parts.append(_line(at(-u, -sign * v), at(u, sign * v), f'stroke="{SOFT}" stroke-width="1"'))
    legs = sheet.of_kind("square")
    if len(legs) == 2:
        parts.append(_line(at(legs[0].along_m, legs[0].across_m), at(legs[1].along_m, legs[1].across_m),
                           f'stroke="{LINE}" stroke-width="2"'))  # fmt: skip
    return parts


def _lengths(sheet: StakeSheet, at: At) -> list[str]:
    def words(value_m: float) -> str:
        return feet_inches(value_m) if sheet.feet else f"{value_m:.3f} m"

    u, v = sheet.length_m / 2, sheet.width_m / 2
    middle = at(0, v)
    side = at(u, 0)
    look = f'class="length" text-anchor="middle" fill="{INK}"'
    diagonal = at(0.45 * u, -0.45 * v)
    turn = math.degrees(math.atan2(v, u))
    turned = f'{look} transform="rotate(-90 {side[0] - 14:.1f} {side[1]:.1f})"'
    return [
        _text((middle[0], middle[1] + 26), words(sheet.length_m), look),
        _text((side[0] - 14, side[1]), words(sheet.width_m), turned),
        _text(diagonal, f"both diagonals {words(sheet.diagonal_m)}",
              f'{look} dy="-7" transform="rotate({turn:.2f} {diagonal[0]:.1f} {diagonal[1]:.1f})"'),
    ]  # fmt: skip


def _stake(point: StakePoint, at: At) -> str:
    x, y = at(point.along_m, point.across_m)
    out_u, out_v = (1 if point.along_m > 0 else -1), (1 if point.across_m > 0 else -1)
    if point.kind == "grid":
        return _grid_mark(point, x, y)
    if point.kind == "post":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{INK}"/>'
    if point.kind == "apron":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="#ffffff" stroke="{INK}" stroke-width="1.5"/>'
    if point.kind == "offset":
        return f'<path d="M{x:.1f} {y - 6:.1f}l6 11h-12z" fill="{LINE}"/>'
    if point.kind == "board":
        along = point.label.endswith("side string")
        half = (0, 13) if along else (13, 0)
        return _line((x - half[0], y - half[1]), (x + half[0], y + half[1]), f'stroke="{INK}" stroke-width="4"')
    if point.kind == "square":
        return f'<path d="M{x - 6:.1f} {y:.1f}l6 -6l6 6l-6 6z" fill="{LINE}"/>'
    if point.kind == "bench":
        mark = f'<path d="M{x - 8:.1f} {y - 7:.1f}h16l-8 14z" fill="{INK}"/>'
        return mark + _text((x + 14, y + 5), f"{point.label} (bench mark)", f'class="name" fill="{INK}"')
    place = (x - out_u * 14, y + (24 if out_v > 0 else -12))
    anchor = "end" if out_u > 0 else "start"
    square = f'<rect x="{x - 6:.1f}" y="{y - 6:.1f}" width="12" height="12" fill="{INK}"/>'
    return square + _text(place, point.label, f'class="name" text-anchor="{anchor}" fill="{INK}"')


def _grid_mark(point: StakePoint, x: float, y: float) -> str:
    """A bar up for fill and down for cut, as the ground lies under or over the finish; a small cross where it is not
    known."""
    mark = f'<path d="M{x - 3:.1f} {y:.1f}h6M{x:.1f} {y - 3:.1f}v6" stroke="{SOFT}" stroke-width="1"/>'
    if point.cut_m is None:
        return mark
    size = min(abs(point.cut_m) * 150, 26.0)  # 10 cm of earth = 15 units
    start, colour = (y, CUT) if point.cut_m >= 0 else (y - size, FILL)
    return f'{mark}<rect x="{x - 2.5:.1f}" y="{start:.1f}" width="5" height="{size:.1f}" fill="{colour}"/>'


def _grid_names(sheet: StakeSheet, at: At) -> list[str]:
    """Letters of the grid's rows and numbers of its columns, beside the pad."""
    grid = sheet.of_kind("grid")
    parts: list[str] = []
    if not grid:
        return parts
    west, north = min(point.along_m for point in grid), max(point.across_m for point in grid)
    look = f'class="name small" text-anchor="middle" fill="{INK}"'
    for point in grid:
        named = re.fullmatch(r"(R\d+-|[A-Z])(\d+)", point.label)
        if named is None:
            raise ValueError(f"stake {point.label!r} of the grid is not named by row and column")
        row, number = named.groups()
        x, y = at(point.along_m, point.across_m)
        if point.along_m == west:
            parts.append(_text((x - 16, y + 5), row.rstrip("-"), look))
        if point.across_m == north:
            parts.append(_text((x, y - 32), number, look))
    return parts


def _north(true_deg: float, height: float) -> str:
    # The ridge points right on paper; north is turned back by its bearing.
    turn = 90.0 - true_deg
    x, y = WIDTH - 50, 66
    return (
        f'<g transform="translate({x:.1f} {y:.1f}) rotate({turn:.3f})"><path d="M0 -32L8 12L0 4L-8 12Z" fill="{INK}"/>'
        f'<text x="0" y="-36" text-anchor="middle" class="name" fill="{INK}">true N</text></g>'
    )


def _bar(feet: bool, scale: float, height: float) -> str:
    unit_m, count, word = (0.3048, 20, "ft") if feet else (1.0, 5, "m")
    x, y, size = MARGIN, height - 28, count * unit_m * scale
    bar = f'<path d="M{x:.1f} {y - 6:.1f}v6h{size:.1f}v-6" fill="none" stroke="{INK}" stroke-width="1.5"/>'
    return bar + _text((x + size / 2, y - 8), f"{count} {word}", f'class="name" text-anchor="middle" fill="{INK}"')
