# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies under points: the highest triangle hit by a line straight down."""
import numpy as np

Array = np.ndarray

# At most this many point-triangle pairs are tried at once: 2^18 pairs of doubles are a few MB.
_BATCH = 1 << 18
# Up to this many triangles every point tries them all.
_FEW = 64
# A batch of sorted points should lie over about so many triangles, and holds at least so many points.
_OVER, _LEAST = 8, 256


class Floor:
    """Triangles (T, 3, 3) m made ready for casts straight down; up (3,) unit.

    normals (T, 3): unit, all on the upper side; ``up`` where a triangle has no area.
    """

    def __init__(self, triangles: Array, up: Array) -> None:
        self.up = np.asarray(up, float)
        seed = np.array([1.0, 0, 0]) if abs(self.up[0]) < 0.9 else np.array([0.0, 1.0, 0])
        e1 = seed - seed @ self.up * self.up
        e1 /= np.linalg.norm(e1)
        plane = np.stack([e1, np.cross(self.up, e1), self.up], -1)
        # rows in the plane and along up, from the middle of all, so that sums over places stay exact
        middle = triangles.reshape(-1, 3).mean(0) if len(triangles) else np.zeros(3)
        self._middle, self._plane = middle, plane
        x, y, z = np.ascontiguousarray(((triangles - middle) @ plane).transpose(2, 1, 0))
        ax, ay, bx, by = x[1] - x[0], y[1] - y[0], x[2] - x[0], y[2] - y[0]
        area = ax * by - ay * bx
        solid = np.flatnonzero(np.abs(area) > 1e-14)  # walls seen edge-on carry nothing
        self._solid = solid
        x, y, z, ax, ay, bx, by, area = (v[..., solid] for v in (x, y, z, ax, ay, bx, by, area))
        self._left, self._right, self._near, self._far = x.min(0), x.max(0), y.min(0), y.max(0)
        # shares of the two edges and the height, each a sum over (x, y, 1) of a place
        first = np.stack([by, -bx, y[0] * bx - x[0] * by]) / area
        second = np.stack([-ay, ax, x[0] * ay - y[0] * ax]) / area
        height = first * (z[1] - z[0]) + second * (z[2] - z[0])
        height[2] += z[0]
        self._sums = np.stack([first, second, height])  # (3, 3, T)
        slope = -height[0, :, None] * plane[:, 0] - height[1, :, None] * plane[:, 1] + self.up
        self.normals = np.tile(self.up, (len(triangles), 1))
        self.normals[solid] = slope / np.sqrt((slope * slope).sum(1))[:, None]

    def under(self, points: Array, above: float) -> tuple[Array, Array]:
        """The height of the surface under points (N, 3) m along up (N,), NaN where nothing lies below, and which
        triangle that is (N,), -1. above: m, how far over the point the surface may lie and still count as under it (a
        sole sinks in)."""
        n, t = len(points), len(self._solid)
        best, which = np.full(n, np.nan), np.full(n, -1)
        if t == 0 or n == 0:
            return best, which
        place = np.ones((3, n))
        rows = (np.asarray(points) - self._middle) @ self._plane
        place[:2], most = rows[:, :2].T, rows[:, 2] + above
        order = None
        size = max(1, _BATCH // t)
        if t > _FEW:  # neighbors along the way that the points go farthest share the few triangles near them
            order = np.argsort(place[int(np.argmax(np.ptp(place[:2], axis=1)))], kind="stable")
            place, most = place[:, order], most[order]
            size = max(_LEAST, _OVER * n // t)
        for at in range(0, n, size):
            p, top = place[:, at:at + size], most[at:at + size]
            sums, near = self._sums, None
            if t > _FEW:
                (x0, y0, _), (x1, y1, _) = p.min(1), p.max(1)
                near = np.flatnonzero((self._left <= x1) & (self._right >= x0) & (self._near <= y1) & (self._far >= y0))
                sums = sums[:, :, near]
            if not sums.shape[2]:
                continue
            a, b, h = np.matmul(sums.swapaxes(1, 2), p)  # (T, N) each: the few triangles, then the many points
            inside = np.minimum(a, b) >= -1e-9
            a += b
            inside &= a <= 1 + 1e-9
            inside &= h <= top
            h[~inside] = -np.inf
            pick = h.argmax(0)
            found = h[pick, np.arange(len(top))]
            hit = np.flatnonzero(found > -np.inf)
            row = at + hit if order is None else order[at + hit]
            best[row] = found[hit]
            which[row] = self._solid[pick[hit] if near is None else near[pick[hit]]]
        return best + float(self._middle @ self.up), which


def drop(points: Array, triangles: Array, up: Array, above: float) -> tuple[Array, Array]:
    """``Floor.under`` for triangles (T, 3, 3) that are asked once."""
    return Floor(triangles, up).under(points, above)
