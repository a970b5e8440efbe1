"""Quantiles and rank correlations of what was drawn for the parcels of a region."""

from __future__ import annotations

import numpy as np
from scipy.stats import rankdata

SHARES = (0.1, 0.5, 0.9)


def rank_correlations(base: np.ndarray, scores: np.ndarray) -> np.ndarray:
    """Rank correlation of parcels in each draw with that as screened, float64 [draws], NaN where either order is all ties.

    Arguments: base, best score of each parcel, NaN = not feasible [parcels]; scores [parcels, draws]. A parcel that is not feasible
    comes last, with all like it.
    Source: Spearman's coefficient, with mean ranks for ties; `scipy.stats.spearmanr` gives the same.
    """
    first, others = (rankdata(np.where(np.isfinite(one), one, -1.0), axis=0) for one in (base[:, None], scores))
    first, others = first - first.mean(axis=0), others - others.mean(axis=0)
    spread = np.sqrt((first**2).sum(axis=0) * (others**2).sum(axis=0))
    found: np.ndarray = np.divide(
        (first * others).sum(axis=0), spread, out=np.full(spread.shape, np.nan), where=spread > 0
    )
    return found


def quantiles(scores: np.ndarray) -> np.ndarray:
    """Quantiles over the draws with a score, float64 [3, parcels], NaN where there is none."""
    found = np.full((len(SHARES), len(scores)), np.nan)
    for k, row in enumerate(scores):
        known = row[np.isfinite(row)]
        if len(known):
            found[:, k] = np.quantile(known, SHARES)
    return found
