"""What `robustness` of a region says to people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tunnelsite.scan.firmness.parcel_draws import ParcelPlan

ALL = "weights, limits and heights"


def sensitivity_words(rows: Sequence[Mapping[str, Any]], plan: ParcelPlan, parcels: int) -> str:
    """The answer as lines. Arguments: rows, of `Sensitivity`; plan, what was drawn; parcels of the region."""
    lines = [f"{parcels:,} parcels, {plan.draws} draws (seed {plan.seed}):"]
    for row in rows:
        if not row["parcels"]:
            lines += [f"{row['house']}: of no parcel is it known whether it has room"] * (row["drawn"] == ALL)
            continue
        if row["drawn"] == ALL:
            lines.append(
                f"{row['house']}: {_percent(row['feasible'])} of {row['parcels']:,} parcels have room as screened; "
                f"{_percent(row['feasible_p10'])} to {_percent(row['feasible_p90'])} in the draws (10 to 90 %), "
                f"{row['unsettled']:,} parcels not settled"
            )
        far = row["rank_correlation_p10"]
        told = (
            "the parcels' order is not known"
            if far is None
            else f"rank correlation {far:.2f} or more in 90 % of the draws"
        )
        lines.append(f"  {row['drawn']} drawn: {told}")
    lines.append(
        f"Weights: concentration {plan.concentration:g}; limits up to {_percent(plan.limit_range)} stricter or looser; heights by the "
        "standard errors of the run. A house stands where the model puts it in each draw. Sun, wind, distances and where water runs "
        "stay as measured."
    )
    return "\n".join(lines)


def _percent(share: float | None) -> str:
    return "-" if share is None else f"{100 * share:.0f} %"
