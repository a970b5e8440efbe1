"""Slow, obvious references for the footprint kernels: loops over placements, whole windows, float64."""

import numpy as np


def coverage(size):
    """Overlap of [-size/2, size/2] with every cell [k - 1/2, k + 1/2]."""
    k = np.arange(-int(size) - 2, int(size) + 3)
    weight = np.clip(np.minimum(k + 0.5, size / 2) - np.maximum(k - 0.5, -size / 2), 0.0, None)
    keep = weight > 1e-9
    return k[keep], weight[keep]


def windows(layer, length, width):
    """Yield row, column, heights, weights, u, v of every placement inside the array and off its gaps."""
    ku, wu = coverage(length)
    kv, wv = coverage(width)
    weights = np.outer(wv, wu)
    v, u = np.meshgrid(kv, ku, indexing="ij")
    for r in range(-kv[0], layer.shape[0] - kv[-1]):
        for c in range(-ku[0], layer.shape[1] - ku[-1]):
            z = layer[r + kv[0] : r + kv[-1] + 1, c + ku[0] : c + ku[-1] + 1].astype(np.float64)
            if np.isfinite(z).all():
                yield r, c, z.ravel(), weights.ravel(), u.ravel().astype(float), v.ravel().astype(float)


def planes(ground, length, width, cell):
    """Weighted least squares by numpy.linalg.lstsq at every placement: mean, along, across, rms, crown."""
    out = np.full((5, *ground.shape), np.nan)
    for r, c, z, w, u, v in windows(ground, length, width):
        root = np.sqrt(w)
        terms = np.stack([np.ones_like(u), u, v], axis=1)
        fit = np.linalg.lstsq(terms * root[:, None], (z - z.mean()) * root, rcond=None)[0]
        residual = z - z.mean() - terms @ fit
        p = v**2 - np.average(v**2, weights=w)
        quadratic = np.linalg.lstsq((p * root)[:, None], residual * root, rcond=None)[0][0]
        rms = np.sqrt(np.average(residual**2, weights=w))
        crown = quadratic * (0.0 - (width / 2) ** 2)
        out[:, r, c] = z.mean() + fit[0], fit[1] / cell, -fit[2] / cell, rms, crown
    return out


def grading(ground, length, width, cell, max_slope, shrink):
    """Cut, fill, deepest cut and fill, level and slopes at every placement; level by bisection."""
    out = np.full((7, *ground.shape), np.nan)
    for r, c, z, w, u, v in windows(ground, length, width):
        root = np.sqrt(w)
        terms = np.stack([np.ones_like(u), u, v], axis=1)
        fit = np.linalg.lstsq(terms * root[:, None], (z - z.mean()) * root, rcond=None)[0]
        east, south = np.clip(fit[1:] / cell, -max_slope, max_slope)
        over = z - (east * u + south * v) * cell
        low, high = over.min(), over.max()
        for _ in range(200):
            level = (low + high) / 2
            d = over - level
            if (w * np.maximum(d, 0)).sum() > shrink * (w * np.maximum(-d, 0)).sum():
                low = level
            else:
                high = level
        d = over - level
        cut, fill = (w * np.maximum(d, 0)).sum() * cell**2, (w * np.maximum(-d, 0)).sum() * cell**2
        out[:, r, c] = cut, fill, max(d.max(), 0), max(-d.min(), 0), level, east, -south
    return out


def sky_tables(azimuths_deg, nodes):
    """Tables of the two sky views of a level plane [2, n azimuths, nodes]: mean of cos^2 h and of 1 - sin h, even azimuths."""
    sine = np.linspace(0.0, 1.0, nodes)
    share = np.full((len(azimuths_deg), 1), 1.0 / len(azimuths_deg))
    return np.stack([share * (1.0 - sine**2), share * (1.0 - sine)])


def profile_share(horizon_deg, tables):
    """Share of each table [n tables, n azimuths, nodes] that one horizon [n azimuths] leaves free."""
    sine = np.sin(np.radians(np.maximum(horizon_deg, 0.0)))
    nodes = np.linspace(0.0, 1.0, tables.shape[2])
    left = [sum(np.interp(s, nodes, row) for s, row in zip(sine, table, strict=True)) for table in tables]
    return np.array(left) / tables[:, :, 0].sum(axis=1)
