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


def felt(ground, cell):
    """Ground averaged over a metre, cell by cell, and the spacing of heights; a square with a gap leaves the cell's own."""
    step = max(1, int(1.0 / cell + 1e-9))
    if step == 1:
        return ground, 1
    out = ground.astype(float).copy()
    for r, c, z, w, *_ in windows(ground, 1.0 / cell, 1.0 / cell):
        out[r, c] = (z * w).sum() / w.sum()
    return out, step


def edge_points(half):
    """Middles of cells on a pad, where rows and columns meet its edges, and its corners: (u, v). half: half the pad [heights]."""
    places = [sorted({*range(-int(h + 1e-9), int(h + 1e-9) + 1), -h, h}) for h in half]
    return [(u, v) for u in places[0] for v in places[1]]


def edge_depths(heights, half):
    """Heights {(row, col): height} at those points, bilinear."""
    found = []
    for u, v in edge_points(half):
        near = [int(np.floor(abs(k) + 1e-9)) for k in (v, u)]
        part, side = [abs(v) - near[0], abs(u) - near[1]], [int(np.sign(v)), int(np.sign(u))]
        ends = [(side[0] * (near[0] + i), side[1] * (near[1] + j)) for i in (0, 1) for j in (0, 1)]
        shares = [(1 - part[0], part[0])[i] * (1 - part[1], part[1])[j] for i in (0, 1) for j in (0, 1)]
        found.append(sum(w * heights[end] for w, end in zip(shares, ends, strict=True) if w > 1e-12))
    return np.array(found)


def lone_things(ground, cell, lone_sd, step):
    """Heights less the mean of the eight round them where that is 4.2 times what it is at others within 10 m, else 0."""

    def known(k, reach):
        near = [
            (i, j) for i in range(-reach, reach + 1, step) for j in range(-reach, reach + 1, step) if (i, j) != (0, 0)
        ]
        at = [(k[0] + i, k[1] + j) for i, j in near]
        return [
            p
            for p in at
            if min(p) >= 0 and p[0] < ground.shape[0] and p[1] < ground.shape[1] and np.isfinite(ground[p])
        ]

    apart = np.full(ground.shape, np.nan)
    for k in np.ndindex(ground.shape):
        near = known(k, step)
        if len(near) >= 5 and np.isfinite(ground[k]):
            apart[k] = ground[k] - np.mean([ground[p] for p in near])
    out, reach = np.zeros(ground.shape), max(round(10.0 / (cell * step)), 3) * step
    for k in np.argwhere(abs(apart) >= 0.10):
        others = [apart[p] for p in known(tuple(k), reach) if np.isfinite(apart[p])]
        if abs(apart[tuple(k)]) > 4.2 * max(lone_sd, np.sqrt(np.mean(np.square(others)))):
            out[tuple(k)] = apart[tuple(k)]
    return out


def grading(ground, length, width, cell, max_slope, shrink, ripple=0.0, lone_sd=None, at=None):
    """Cut, fill, deepest cut and fill, level, slopes and share kept at every placement, or `at` one of them (cells
    of a metre or more); level by bisection."""
    ground, step = felt(ground.astype(float), cell)
    lone = np.zeros(ground.shape) if lone_sd is None else lone_things(ground, cell, lone_sd, step)
    ground, asked = ground - lone, (max_slope, shrink, ripple)
    if at is not None:
        return _graded_nodes(ground, lone, (length, width), cell, asked, at)[:, *at]
    every = np.full((8, *ground.shape), np.nan)
    for top in range(step):
        for left in range(step):
            parts = (layer[top::step, left::step] for layer in (ground, lone))
            every[:, top::step, left::step] = _graded_nodes(*parts, (length / step, width / step), cell * step, asked)
    return every


def _fitted(z, w, u, v):
    """Level and slopes of the weighted least-squares plane."""
    root = np.sqrt(w)
    terms = np.stack([np.ones_like(u), u, v], axis=1)
    fit = np.linalg.lstsq(terms * root[:, None], (z - z.mean()) * root, rcond=None)[0]
    return fit + np.array([z.mean(), 0.0, 0.0])


def judged(ground, lone, centre, size, plane, kept):
    """Heights {(row, col): height} less what errors alone would show, on the pad and just beyond it, where a height that is not known is
    its neighbour on the pad. Lone things stay whole."""
    half = np.array(size)[::-1] / 2
    low = np.floor(half + 1e-9).astype(int)
    out, found = low + (half > low + 1e-9), {}
    for i in range(-out[0], out[0] + 1):
        for j in range(-out[1], out[1] + 1):
            on = np.clip([i, j], -low, low)
            at = [tuple(np.add(centre, k)) for k in ((i, j), (i, on[1]), on)]
            known = [
                k
                for k in at
                if min(k) >= 0 and k[0] < ground.shape[0] and k[1] < ground.shape[1] and np.isfinite(ground[k])
            ]
            natural = plane @ [1.0, j, i]
            found[i, j] = natural + kept * (ground[known[0]] - natural) + (lone[at[0]] if at[0] in known else 0.0)
    return found


def _graded_nodes(ground, lone, size, cell, asked, at=None):
    max_slope, shrink, ripple = asked
    out = np.full((8, *ground.shape), np.nan)
    for r, c, z, w, u, v in windows(ground, *size):
        if at is not None and (r, c) != tuple(at):
            continue
        plane = _fitted(z, w, u, v)
        square = (w * (z - plane[0] - plane[1] * u - plane[2] * v) ** 2).sum() / w.sum()
        kept = np.sqrt(max(1 - ripple**2 / square, 0.0)) if ripple > 0 else 1.0
        heights = judged(ground, lone, (r, c), size, plane, kept)
        z = np.array([heights[int(j), int(i)] for i, j in zip(u, v, strict=True)])
        east, south = np.clip(_fitted(z, w, u, v)[1:] / cell, -max_slope, max_slope)
        over = z - (east * u + south * v) * cell
        low, high = over.min(), over.max()
        for _ in range(64):  # down to what a float64 tells apart
            level = (low + high) / 2
            d = over - level
            if (w * np.maximum(d, 0)).sum() > shrink * (w * np.maximum(-d, 0)).sum():
                low = level
            else:
                high = level
        d = over - level
        cut, fill = (w * np.maximum(d, 0)).sum() * cell**2, (w * np.maximum(-d, 0)).sum() * cell**2
        half = size[0] / 2, size[1] / 2
        d = edge_depths(heights, half) - np.array([level + (east * a + south * b) * cell for a, b in edge_points(half)])
        out[:, r, c] = cut, fill, max(d.max(), 0), max(-d.min(), 0), level, east, -south, kept
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
