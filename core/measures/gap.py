# SPDX-License-Identifier: GPL-3.0-or-later
"""How far soles are over or in the ground that meshes tell, and which feet must carry the body, sample by sample."""
from dataclasses import dataclass

import numpy as np

from ..need import NOTHING
from ..numeric.spans import held, samples
from ..shot import SOLE_POINTS, Character
from ..study import Study, measure
from .contacts import Contacts, contacts
from .footfalls import Footfalls, N, footfalls
from .sole import Soles, soles
from .supports import Supports, level_plane, outside, supports
from .tread import Tread, tread
from .underbody import Underbody, underbody
from .underfoot import Underfoot, underfoot

Array = np.ndarray

#: A surface farther from a sole than this share of the leg is not what the foot stands on: a riser, a table.
NEAR = 0.16
#: A foot must bear where without it the pressure point would lie this much farther, in legs, from all that touches; the
#: point is known better where that lasts for so many seconds.
NEEDED, NEEDED_LONG, LONG = 0.06, 0.025, 0.5
_TIP = SOLE_POINTS.index("toe_tip")
#: The middle of the sole that tells the height of each point's ground.
_MIDDLE = np.array([SOLE_POINTS.index("toe_tip" if p == "toe_tip" else p.partition("_")[0]) for p in SOLE_POINTS])


@dataclass(frozen=True)
class Gap:
    """Per side 'L', 'R'. points (F, 7) m: signed distance of each sole point to the ground along its normal, positive
    over it, NaN where no mesh tells it. gap (F,) m: of the foot: its lowest point's where all are over the ground, else
    that of the deepest point that stands, zero or negative; NaN where the foot does not stand or nothing is
    known."""

    points: dict[str, Array]
    gap: dict[str, Array]


@measure(NOTHING, uses=(soles, underfoot, tread, footfalls))
def gaps(study: Study, character: Character) -> Gap:
    """Soles against the ground of known height under them."""
    sole: Soles = study.of(soles, character)
    ground: Underfoot = study.of(underfoot, character)
    t: Tread = study.of(tread, character)
    fallen: Footfalls = study.of(footfalls, character)
    near = NEAR * character.leg_length
    count = study.shot.count
    points, foot = {}, {}
    cover = np.clip(np.searchsorted(t.samples, np.arange(count), side="right") - 1, 0, None)
    for k, side in enumerate(t.sides):
        told = ground.height[side]
        if np.isnan(told).all():
            points[side], foot[side] = np.full((count, N), np.nan), np.full(count, np.nan)
            continue
        places, normal = sole.points[side], ground.normal[side]
        rise = normal @ ground.up
        # a point beside the middle of the sole lies over ground that slopes away from there
        aside = np.einsum("fsi,fi->fs", places - places[:, _MIDDLE], normal - rise[:, None] * ground.up)
        height = places @ ground.up - told + aside / np.maximum(rise, 0.1)[:, None]
        over = height * rise[:, None]
        over = np.where(np.abs(over) < near, over, np.nan)
        stands = fallen.planted[cover, k * N:k * N + N].copy()
        points[side] = over
        foot[side] = _foot(over, stands, character.has(f"toe.{side}"))
    return Gap(points, foot)


def _foot(over: Array, stands: Array, toed: bool) -> Array:
    """(F,) of a foot from its points (F, 7); a foot without a toe bends where no bone does, so that its tip tells of no
    depth."""
    known = np.isfinite(over)
    lowest = np.where(known, over, np.inf).min(1)
    deep = stands & known
    if not toed:
        deep[:, _TIP] = False
    depth = np.minimum(np.where(deep, over, 0.0).min(1), 0.0)
    gap = np.where(lowest > 0, lowest, depth)
    return np.where(stands.any(1) & known.any(1), gap, np.nan)


@measure(NOTHING, uses=(supports, tread, footfalls, underbody, contacts))
def carriers(study: Study, character: Character) -> dict[str, Array]:
    """Side 'L', 'R' -> (F,) bool: the foot stands, and must bear weight since nothing else that touches could. A foot
    that is held still in the air while the other stands is none, nor one that drags while the body lies or kneels."""
    t: Tread = study.of(tread, character)
    fallen: Footfalls = study.of(footfalls, character)
    under: Underbody = study.of(underbody, character)
    found: Supports = study.of(supports, character)
    touch: Contacts = study.of(contacts, character)
    plane = level_plane(t.up)
    rest = [s for s in found.found if not s.part.startswith("foot")]
    count = study.shot.count
    cover = np.clip(np.searchsorted(t.samples, np.arange(count), side="right") - 1, 0, None)
    out = {}
    for k, side in enumerate(t.sides):
        part = f"foot.{side}"
        bears = found.touches[found.parts.index(part)] & ~touch.elsewhere[part][cover]
        rows = np.flatnonzero(bears)
        if len(rows):
            point = found.point @ plane
            whole, less = (outside(t, fallen, under, rest, point, plane, rows, but=but) for but in (None, k))
            more = np.full(count, -np.inf)
            more[rows] = np.where(np.isnan(less), np.inf, less - np.nan_to_num(whole)) / t.leg
            bears = (more >= NEEDED) | (held(more, samples(LONG, study.shot.rate)) >= NEEDED_LONG)
        out[side] = np.asarray(bears)
    return out
