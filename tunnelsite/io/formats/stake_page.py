"""A stake-out sheet as a page to print: one file, no script, nothing fetched from anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from tunnelsite.core.stake_sheet import StakePoint, StakeSheet, on_grade
from tunnelsite.core.units import FOOT_M, feet_inches
from tunnelsite.io.formats.stake_sketch import CUT, FILL, INK, LINE, SOFT, sketch_svg

NEW_PAGE = ' class="new"'
# Refuses every request, should anything ever slip in that asks for one.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
STYLE = f"""
@page {{ size: auto; margin: 13mm; }}
* {{ box-sizing: border-box; }}
body {{ font: 10.5pt/1.38 "Liberation Sans", Arial, Helvetica, sans-serif; color: {INK};
  margin: 0 auto; max-width: 190mm; padding: 6mm 0; }}
h1 {{ font-size: 18pt; margin: 0; line-height: 1.15; overflow-wrap: anywhere; }}
h2 {{ font-size: 11.5pt; margin: 6mm 0 1.5mm; padding-bottom: .6mm;
  border-bottom: 1.2pt solid {INK}; break-after: avoid; }}
p {{ margin: 0 0 1.6mm; }}
.under {{ margin: .5mm 0 3mm; color: #4a5560; overflow-wrap: anywhere; }}
.care {{ border: 1.6pt solid {CUT}; border-left-width: 6pt; padding: 2.5mm 3.5mm 1.5mm; break-inside: avoid; }}
.care strong {{ color: {CUT}; }}
.care ul {{ margin: 1mm 0; padding-left: 5mm; }}
.care li {{ margin-bottom: .7mm; }}
figure {{ margin: 3mm 0 0; break-inside: avoid; }}
svg {{ width: 100%; height: auto; display: block; }}
svg text {{ font: 17px "Liberation Sans", Arial, sans-serif; }}
svg .name, svg .length {{ paint-order: stroke; stroke: #ffffff; stroke-width: 4px; stroke-linejoin: round; }}
svg .small {{ font-size: 13px; }}
svg .length {{ font-size: 19px; paint-order: stroke; stroke: #ffffff; stroke-width: 5px; font-weight: bold; }}
figcaption {{ font-size: 9pt; color: #4a5560; }}
.key b {{ font-weight: bold; color: {INK}; }}
ol {{ margin: 0; padding-left: 6mm; }}
ol li {{ margin-bottom: 1.4mm; }}
table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; font-size: 9.3pt; }}
thead {{ display: table-header-group; }}
tr {{ break-inside: avoid; }}
th, td {{ border-bottom: .5pt solid #c8cdd3; padding: .75mm 1.6mm; text-align: right; vertical-align: baseline; }}
th:first-child, td:first-child {{ text-align: left; overflow-wrap: break-word; }}
thead th {{ border-bottom: 1pt solid {INK}; font-size: 8.6pt; line-height: 1.2; vertical-align: bottom; }}
td.write {{ border-bottom: .8pt solid {SOFT}; min-width: 13mm; }}
.stakes {{ font-size: 8.4pt; }}
.stakes td {{ white-space: nowrap; padding: .75mm 1mm; }}
.stakes td:first-child {{ white-space: normal; min-width: 24mm; }}
.words th, .words td {{ text-align: left; }}
.words th {{ width: 42mm; font-weight: normal; color: #4a5560; }}
.cut {{ color: {CUT}; }} .fill {{ color: {FILL}; }} .line {{ color: {LINE}; }} .none {{ color: {SOFT}; }}
.new {{ break-before: page; }}
@media screen {{ body {{ padding: 8mm; }} .new {{ margin-top: 12mm; }} .slides {{ overflow-x: auto; }} }}
"""


def page_html(sheet: StakeSheet) -> str:
    """The page: cautions, sketch, how to set it out and square it, bearings, and every stake with room for readings.

    Everything that comes from data is escaped; the page carries a policy that forbids any request.
    """
    title = escape(sheet.title)
    body = [
        f"<h1>{title}</h1>",
        f'<p class="under">Stake-out sheet for a {escape(sheet.house)} house: {_both(sheet.length_m, sheet.feet)} along the ridge, '
        f"{_both(sheet.width_m, sheet.feet)} across. Pad {_both(sheet.pad_length_m, sheet.feet)} "
        f"by {_both(sheet.pad_width_m, sheet.feet)}.</p>",
        _cautions(sheet),
        f"<figure>{sketch_svg(sheet)}<figcaption>{_key()}</figcaption></figure>",
        "<h2>Which way the ridge points</h2>",
        _words_table(sheet.bearings),
        "<h2>Set it out and square it</h2>",
        _steps(sheet),
        _tape_table(sheet),
        _ties_table(sheet),
        _notes(sheet),
        f"<h2{'' if sheet.notes else NEW_PAGE}>Stakes of the house and pad</h2>",
        f"<p>{escape(sheet.heights_words)}. C = cut (dig down), F = fill (bring up), from the ground at the stake "
        "to the finished pad. "
        "Along: from the centre towards the far end of the ridge; across: to its left. Write the rod reading and "
        "the height you found "
        "beside it.</p>",
        _stake_table(sheet.of_kind("corner", "apron", "offset", "board", "square", "bench"), sheet.feet),
        "<h2>Longitude and latitude</h2>",
        _lonlat_table(sheet.of_kind("corner", "offset", "bench")),
        "<h2>Grid of levels on the pad</h2>",
        "<p>Rows are letters, columns numbers, as at the edges of the sketch.</p>",
        _stake_table(sheet.of_kind("grid"), sheet.feet),
        "<h2>Ground posts</h2>",
        _post_words(sheet),
    ]
    head = (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n<meta name="referrer" '
        'content="no-referrer">\n'
        f'<meta name="viewport" content="width=device-width">\n<title>Stake-out: '
        f"{title}</title>\n<style>{STYLE}</style>\n</head>\n"
    )
    return f"{head}<body>\n" + "\n".join(body) + "\n</body>\n</html>\n"


def _both(value_m: float, feet: bool = True) -> str:
    """Both systems, the user's own first."""
    imperial, metric = feet_inches(value_m), f"{value_m:.3f} m"
    return f"{imperial} ({metric})" if feet else f"{metric} ({imperial})"


def _cautions(sheet: StakeSheet) -> str:
    points = "".join(f"<li>{escape(caution)}</li>" for caution in sheet.cautions)
    return f'<div class="care"><strong>Before you dig or drive anything</strong><ul>{points}</ul></div>'


def _key() -> str:
    marks = (
        ("&#9632;", "corner of the house"),
        ("&#9675;", "corner of the pad"),
        ("&#9650;", "offset stake on the house lines"),
        ("&#9644;", "batter board"),
        ("&#9670;", "leg of the 3-4-5"),
        ("&#9679;", "ground post"),
        ("&#9660;", "bench mark"),
    )
    shown = "; ".join(f"<b>{mark}</b> {words}" for mark, words in marks)
    bars = '<span class="cut">&#9612;down</span> = cut and <span class="fill">&#9612;up</span> = fill at the grid'
    line = '<span class="line">Green line</span>: 5 of the 3-4-5.'
    return f'<span class="key">{shown}; bar {bars}.</span> Dashed: pad. {line}'


def _words_table(rows: Iterable[tuple[str, str]]) -> str:
    cells = "".join(f"<tr><th>{escape(name)}</th><td>{escape(words)}</td></tr>" for name, words in rows)
    return f'<table class="words"><tbody>{cells}</tbody></table>'


def _steps(sheet: StakeSheet) -> str:
    line = sheet.triangle
    steps = (
        "Drive the first corner, run the string of one long side on the bearing above and measure its full "
        "length to the second corner.",
        f"Turn the right angle at {escape(line.corner)}: measure {_both(line.along_m, sheet.feet)} along the long side and "
        f"{_both(line.across_m, sheet.feet)} "
        f"along the end. Swing the end until the line between the two marks is {_both(line.hypotenuse_m, sheet.feet)}. "
        "(3, 4 and 5 of anything make a right angle; the longer, the surer.)",
        f"Set the other two corners and measure BOTH diagonals: each {_both(sheet.diagonal_m, sheet.feet)}. What a difference "
        "means: "
        f"{escape(sheet.skew_words)}. Shift the far long side along itself, by half the difference, so that the "
        "longer diagonal "
        "shortens, and measure again.",
        "Equal diagonals are not enough: they prove a rectangle only if opposite sides are equal too. Measure "
        "all four sides and both "
        "diagonals, with the tape level and pulled alike, and write them down below.",
        "Carry the lines out to the batter boards and offset stakes before any earth is moved: they bring the "
        "corners back afterwards.",
        "Level the stakes from the bench mark and close the run back on it. After grading, square and level "
        "everything again.",
    )
    return "<ol>" + "".join(f"<li>{step}</li>" for step in steps) + "</ol>"


def _tape_table(sheet: StakeSheet) -> str:
    names = [escape(point.label) for point in sheet.of_kind("corner")]
    if len(names) != 4:
        return ""
    pairs = [(0, 3, sheet.length_m), (1, 2, sheet.length_m), (0, 1, sheet.width_m), (3, 2, sheet.width_m)]
    pairs += [(0, 2, sheet.diagonal_m), (3, 1, sheet.diagonal_m)]
    rows = []
    for one, other, value in pairs:
        kind = "diagonal" if value == sheet.diagonal_m else "side"
        name = f"{kind} {names[one]} to {names[other]}"
        own = (feet_inches(value), f"{value:.3f} m")
        shown = "".join(f"<td>{words}</td>" for words in (own if sheet.feet else reversed(own)))
        rows.append(f'<tr><td>{name}</td>{shown}<td class="write"></td></tr>')
    head = "<tr><th>tape</th><th>wanted</th><th>wanted</th><th>measured</th></tr>"
    return f"<table><thead>{head}</thead><tbody>{''.join(rows)}</tbody></table>"


def _ties_table(sheet: StakeSheet) -> str:
    """Tapes from fixed points to the corners."""
    if not sheet.ties:
        return ""
    names = list(dict.fromkeys(tie.name for tie in sheet.ties))
    corners = list(dict.fromkeys(tie.corner for tie in sheet.ties))
    far = {(tie.name, tie.corner): tie.distance_m for tie in sheet.ties}
    head = "".join(f"<th>{escape(name)}</th>" for name in ("corner", *names))
    rows = "".join(
        f"<tr><td>{escape(corner)}</td>{''.join(f'<td>{_long(far[name, corner], sheet.feet)}</td>' for name in names)}</tr>"
        for corner in corners
    )
    words = "Level distances from the fixed points, by the map: where two tapes cross lies the corner, on one of two sides. They are as "
    words += "sure as the places given for the points."
    return (
        f"<h2>Ties to fixed points</h2><p>{words}</p><table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _long(value_m: float, feet: bool) -> str:
    return f"{feet_inches(value_m, 2)} ({value_m:.2f} m)" if feet else f"{value_m:.2f} m ({feet_inches(value_m, 2)})"


def _lonlat_table(points: Sequence[StakePoint]) -> str:
    rows = "".join(
        f"<tr><td>{escape(point.label)}</td><td>{point.lat_deg:.7f}</td><td>{point.lon_deg:.7f}</td></tr>"
        for point in points
    )
    head = "<th>stake</th><th>latitude, °</th><th>longitude, °</th>"
    return f'<p>WGS 84.</p><table class="stakes"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>'


def _stake_table(points: Sequence[StakePoint], feet: bool) -> str:
    unit = "ft" if feet else "m"
    places = ["along", "across", "both, m"] if feet else ["along, m", "across, m"]
    cuts = ["cut or fill", "the same, m"] if feet else ["cut or fill, m", "the same"]
    names = ["stake", *places, f"ground, {unit}", f"finish, {unit}", *cuts, "rod", "found"]
    head = "".join(f"<th>{name}</th>" for name in names)
    rows = []
    for point in points:
        place = [f"{value + 0.0:.3f}" for value in (point.along_m, point.across_m)]
        if feet:
            place = [*(feet_inches(value, 8) for value in (point.along_m, point.across_m)), ", ".join(place)]
        heights = [_height(value, feet) for value in (point.ground_m, point.finish_m)]
        cells = "".join(f"<td>{words}</td>" for words in (*place, *heights))
        name = f"<td>{escape(point.label)}</td>"
        rows.append(
            f'<tr>{name}{cells}{_cut_cells(point.cut_m, feet)}<td class="write"></td><td class="write"></td></tr>'
        )
    table = f'<table class="stakes"><thead><tr>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table>'
    return f'<div class="slides">{table}</div>'


def _height(value_m: float | None, feet: bool) -> str:
    if value_m is None:
        return '<span class="none">&ndash;</span>'
    return f"{value_m / FOOT_M:.2f}" if feet else f"{value_m:.3f}"


def _cut_cells(cut_m: float | None, feet: bool) -> str:
    """Cut or fill in the user's own unit and in the other one."""
    if cut_m is None:
        return '<td class="none">&ndash;</td><td class="none">&ndash;</td>'
    inches, metres = feet_inches(abs(cut_m), 8), f"{abs(cut_m):.3f}"
    own, other = (inches, metres) if feet else (metres, inches)
    if on_grade(cut_m, feet=feet):
        return f"<td>on grade</td><td>{other}</td>"
    kind, letter = ("cut", "C") if cut_m >= 0 else ("fill", "F")
    return f'<td class="{kind}">{letter} {own}</td><td class="{kind}">{letter} {other}</td>'


def _post_words(sheet: StakeSheet) -> str:
    posts = sheet.of_kind("post")
    sides: dict[float, list[StakePoint]] = {}
    for post in posts:
        sides.setdefault(post.across_m, []).append(post)
    if not sides:
        return "<p>No post spacing was given.</p>"
    row = max(sides.values(), key=len)
    ends = f"{escape(row[0].label)} to {escape(row[-1].label)}"
    marks = ", ".join(
        feet_inches(post.along_m - row[0].along_m, 8) if sheet.feet else f"{post.along_m - row[0].along_m:.3f}"
        for post in row
    )
    unit = "" if sheet.feet else " m"
    return (
        f"<p>{len(row)} posts on each long side ({ends}), {len(row) - 1} equal spaces of "
        f"{_both(sheet.post_spacing_m, sheet.feet)}. Measure every "
        "mark from the first corner, never post to post, so that errors do not add up. The maker's drawing rules.</p>"
        f"<p>Running distances from the first corner{unit}: {marks}.</p>"
    )


def _notes(sheet: StakeSheet) -> str:
    if not sheet.notes:
        return ""
    return f"<h2{NEW_PAGE}>Notes</h2><ul>" + "".join(f"<li>{escape(note)}</li>" for note in sheet.notes) + "</ul>"
