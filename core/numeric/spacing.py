# SPDX-License-Identifier: GPL-3.0-or-later
"""Spacing along paths: how far a drawing lies from where its neighbors lead, and what that means in this motion.

Paths (…, D, 3), one place a drawing, in any unit; what comes out is in the same.
"""

import numpy as np

Array = np.ndarray

#: Drawings on each side that a departure looks at, and that are left out around one when its surroundings are asked.
REACH, OUT = 2, 3


def departures(paths: Array) -> Array:
    """(…, D, 3): each place less the place on the cubic through the two before and the two after it; NaN at both ends.

    One drawing moved out of a smooth path departs by just that; white noise of one drawing by 1.4 times itself.
    """
    out = np.full(paths.shape, np.nan)
    if paths.shape[-2] > 2 * REACH:
        p = paths
        out[..., 2:-2, :] = (
            p[..., :-4, :] - 4 * p[..., 1:-3, :] + 6 * p[..., 2:-2, :] - 4 * p[..., 3:-1, :] + p[..., 4:, :]
        ) / 6
    return out


def agitation(sizes: Array, first: int, last: int, reach: int) -> float:
    """The median of sizes of departures (D,) within ``reach`` drawings of the drawings first to last, those near to
    them left out, so that a fault does not hide behind itself; 0 where nothing is left."""
    before = sizes[max(0, first - reach) : max(0, first - OUT)]
    after = sizes[last + OUT + 1 : last + reach + 1]
    near = np.concatenate([before, after])
    near = near[np.isfinite(near)]
    return float(np.median(near)) if len(near) else 0.0


#: Legs of white noise under which motion is keyed, or as clean as that.
CLEAN = 2.4e-4


def white_noise(sizes: Array) -> float:
    """The white noise of a drawing, as ``turn.Signal.noise`` has it, from the sizes of departures (D,): that of the
    calmest tenth of all stretches of nine drawings."""
    power = sizes[np.isfinite(sizes)] ** 2 * 36 / 210
    if len(power) < 2:
        return 0.0
    width = min(9, len(power))
    return float(np.sqrt(np.quantile(np.convolve(power, np.ones(width) / width, "valid"), 0.1)))


#: What a lone drawing out of place, a corner between two straight runs, and a wiggle from drawing to drawing make of
#: the departures around them.
SPIKE = np.array([1.0, -4.0, 6.0, -4.0, 1.0]) / 6
CORNER = np.array([0.0, 1.0, -2.0, 1.0, 0.0]) / 6
WIGGLE = np.array([1.0, -1.0, 1.0, -1.0, 1.0]) * 16 / 6


def matched(off: Array, shape: Array) -> tuple[Array, Array]:
    """(amplitude (…, D, 3), share (…, D)) of departures (…, D, 3): the multiple of ``shape`` (5,) that fits the five
    departures around each drawing best, and how much of their squares it explains, 0 to 1; unknown ones left out."""
    known = np.isfinite(off[..., 0])
    rows = np.where(known[..., None], off, 0.0)
    wide = [(0, 0)] * (off.ndim - 2)
    rows, known = np.pad(rows, (*wide, (2, 2), (0, 0))), np.pad(known, (*wide, (2, 2)))
    count = off.shape[-2]
    power = rows[..., 0] ** 2 + rows[..., 1] ** 2 + rows[..., 2] ** 2
    fit, whole, all_power = np.zeros(off.shape), np.zeros(off.shape[:-1]), np.zeros(off.shape[:-1])
    for k, weight in enumerate(shape.tolist()):
        if weight:
            fit += weight * rows[..., k : k + count, :]
            whole += weight**2 * known[..., k : k + count]
        all_power += power[..., k : k + count]
    explained = fit[..., 0] ** 2 + fit[..., 1] ** 2 + fit[..., 2] ** 2
    whole = np.maximum(whole, 1e-12)
    return fit / whole[..., None], explained / np.maximum(whole * all_power, 1e-30)


def largest_near(sizes: Array, i: int, reach: int) -> float:
    """The largest of sizes of departures (D,) within ``reach`` drawings of drawing i, those that a fault there makes
    itself left out; 0 where nothing is left."""
    near = np.concatenate([sizes[max(0, i - reach) : max(0, i - OUT - 1)], sizes[i + OUT + 2 : i + reach + 1]])
    near = near[np.isfinite(near)]
    return float(near.max()) if len(near) else 0.0
