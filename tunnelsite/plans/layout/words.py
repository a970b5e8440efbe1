"""What `layout` answers on the screen."""

from __future__ import annotations

from typing import Any

from tunnelsite.core.units import FOOT_M
from tunnelsite.plans.layout.trench import way_words


def layout_words(summary: dict[str, Any], *, feet: bool) -> str:
    """The block as a table; distances in the user's unit, with the metres in brackets where that is feet."""
    unit = "ft (m)" if feet else "m"

    def length(value_m: float | None, digits: int, none: str) -> str:
        if value_m is None:
            return f"{none:>13}"
        shown = f"{value_m:.{digits}f}"
        return f"{f'{value_m / FOOT_M:.0f} ({shown})' if feet else shown:>13}"

    lines = [summary["verdict"]]
    names = list(summary["houses"][0]["trenches"]) if summary["houses"] else []
    head = f"{'no':>2}  {'score':>5}  {'parcel':<20} {'house':<10} {'lat':>10} {'lon':>12}  {'gap ' + unit:>13}"
    lines.append(head + "".join(f"  {name[:6] + ' ' + unit:>13}" for name in names))
    for row in summary["houses"]:
        line = (
            f"{row['rank']:>2}  {row['score']:5.1f}  {row['parcel'][:20]:<20} {row['house'][:10]:<10} {row['lat']:10.6f} "
            f"{row['lon']:12.6f}  {length(row['gap_m'], 1, '-')}"
        )
        for name in names:
            line += f"  {length(row['trenches'][name]['length_m'], 0, 'no way')}"
        lines.append(line)
    lines += _totals(summary, feet=feet)
    lines += [f"note: {text}" for text in summary["notes"]]
    lines += [f"caution: {text}" for text in summary["cautions"]]
    lines.append(f"Written to {summary['output']}, with a picture in {summary['picture']}.")
    return "\n".join(lines)


def _totals(summary: dict[str, Any], *, feet: bool) -> list[str]:
    """Trenches of all houses, a line a service, with the cost where there is a price."""
    lines = []
    each = "one for each house" if summary["scattered"] else "one trunk; above stands what each house adds to it"
    for name, total in summary["trench_totals"].items():
        shown = f"{total['length_m'] / FOOT_M:,.0f} ft" if feet else f"{total['length_m']:,.0f} m"
        text = f"{way_words(name, several=True)}: {shown} in all, {each}"
        if name in summary["prices"]:
            price = summary["prices"][name]
            rate = f"{price * FOOT_M:.4g} a foot ({price:.4g} a metre)" if feet else f"{price:g} a metre"
            text += f"; {total['cost']:,.0f} at {rate}"
        lines.append(text)
    return lines
