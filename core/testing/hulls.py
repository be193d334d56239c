# SPDX-License-Identifier: GPL-3.0-or-later
"""Convex hulls in a picture: the oracle by which planted kisses are set and judged. Nothing of the outlines is used."""

import numpy as np

Array = np.ndarray


def hull(points: Array) -> Array:
    """Convex hull (k, 2), counter-clockwise, of points (n, 2)."""
    ordered = sorted(map(tuple, points.tolist()))

    def half(run: list[tuple[float, ...]]) -> list[tuple[float, ...]]:
        out: list[tuple[float, ...]] = []
        for p in run:
            while len(out) > 1 and (
                (out[-1][0] - out[-2][0]) * (p[1] - out[-2][1]) <= (out[-1][1] - out[-2][1]) * (p[0] - out[-2][0])
            ):
                out.pop()
            out.append(p)
        return out[:-1]

    return np.array(half(ordered) + half(ordered[::-1]))


def signed_gap(a: Array, b: Array) -> float:
    """Gap of two convex hulls (n, 2) and (m, 2), in their unit: distance where they are apart, minus the least shift
    that parts them where they overlap."""
    edges = np.concatenate([np.roll(p, -1, axis=0) - p for p in (a, b)])
    n = np.stack([edges[:, 1], -edges[:, 0]], -1) / np.hypot(edges[:, 0], edges[:, 1])[:, None]
    pa, pb = a @ n.T, b @ n.T
    best = float(np.maximum(pb.min(0) - pa.max(0), pa.min(0) - pb.max(0)).max())
    if best <= 0:
        return best

    def to(p: Array, q: Array) -> float:
        along = np.roll(q, -1, axis=0) - q
        t = np.clip(((p[:, None] - q) * along).sum(2) / (along * along).sum(1), 0, 1)
        return float(np.linalg.norm(p[:, None] - q - t[..., None] * along, axis=2).min())

    return min(to(a, b), to(b, a))
