"""The stakes of one house as a page for the phone: distance and bearing to each, a level book and a horizon that it keeps.

One file without any request. A position is asked of the browser only when the user presses the button; it is shown, never sent or kept.
"""

from __future__ import annotations

from html import escape
from importlib.resources import files

from tunnelsite.core.stake_sheet import StakePoint, StakeSheet, on_grade
from tunnelsite.core.units import feet_inches
from tunnelsite.drawing.markup import digest, json_text

KINDS = {
    "corner": "corners of the house",
    "offset": "offset stakes",
    "apron": "corners of the pad",
    "bench": "bench mark",
    "board": "batter boards",
    "square": "legs of the 3-4-5",
    "post": "ground posts",
    "grid": "grid of levels",
}


def phone_html(sheet: StakeSheet) -> str:
    """The page. Arguments: sheet, of the stake-out. Everything that comes from data is escaped; a policy forbids any request."""
    parts = files("tunnelsite.drawing")
    frame, style, script = (parts.joinpath(f"phone.{kind}").read_text("utf-8") for kind in ("html", "css", "js"))
    known = [kind for kind in KINDS if sheet.of_kind(kind)]
    stakes = [_stake(point, sheet.feet) for kind in known for point in sheet.of_kind(kind)]
    data = {"id": f"{sheet.title} {sheet.house}", "feet": sheet.feet, "stakes": stakes}
    body = frame.format(
        title=escape(sheet.title),
        house=escape(sheet.house),
        bearings="; ".join(f"{escape(name)} {escape(words)}" for name, words in sheet.bearings[:1]),
        cautions="".join(f"<li>{escape(caution)}</li>" for caution in sheet.cautions),
        metres="15 ft" if sheet.feet else "5 m",
        kinds="".join(f'<option value="{kind}">{KINDS[kind]}</option>' for kind in known),
        stations="".join(f'<option value="{escape(str(stake["label"]))}"></option>' for stake in stakes),
    )
    policy = f"default-src 'none'; style-src '{digest(style)}'; script-src '{digest(script)}'; base-uri 'none'; form-action 'none'"
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="referrer" content="no-referrer">'
        f"<title>Stakes: {escape(sheet.title)}</title><style>{style}</style></head>\n<body>{body}\n"
        f'<script type="application/json" id="data">{json_text(data)}</script><script>{script}</script></body></html>\n'
    )


def _stake(point: StakePoint, feet: bool) -> dict[str, object]:
    return {
        "kind": point.kind,
        "label": point.label,
        "lat": round(point.lat_deg, 9),
        "lon": round(point.lon_deg, 9),
        "cut": _cut(point.cut_m, feet),
    }


def _cut(cut_m: float | None, feet: bool) -> str:
    if cut_m is None:
        return ""
    if on_grade(cut_m, feet=feet):
        return "on grade"
    depth = feet_inches(abs(cut_m), 8) if feet else f"{abs(cut_m):.3f} m"
    return f"{'cut' if cut_m > 0 else 'fill'} {depth}"
