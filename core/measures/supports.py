# SPDX-License-Identifier: GPL-3.0-or-later
"""What carries the body: feet, hands, elbows, knees, seat, back and head, when each touches, and whether it bears."""
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..need import NOTHING
from ..numeric.between import straight
from ..numeric.hull import smallest_norm
from ..numeric.rotation import cross
from ..numeric.shares import load_shares
from ..numeric.spans import spans
from ..shot import Character
from ..study import Study, measure
from . import touch
from .exposure import exposure
from .footfalls import Footfalls, N, footfalls, sample_rate
from .mass_motion import MassMotion, mass_motion
from .touch import Span
from .tread import Tread, tread
from .underbody import Underbody, underbody
from .underfoot import Underfoot, underfoot

Array = np.ndarray

BEARS = 0.05                # of the body's weight: who bears less only touches
BEARS_FOR = 0.08            # s at a time
RESTS_FOR = 0.12            # s: parts other than feet touch at least so long
STAYS = 1.3                 # a part that rests may rise to this many times the height at which it comes to rest
# A foot held still this high, in legs, over the ground's level hangs there, unless the pressure point leaves what else
# touches by so many legs for so many seconds: then something must carry the body.
HANGS, HANGS_OUTSIDE, HANGS_FOR = 0.12, 0.06, 0.15
# A seat that no mesh shows: hips this low, of a leg over the feet's level, still for so long, and for more than half
# of the while the pressure point this far, in legs, outside all that touches the ground.
SITS, SITS_FOR, SITS_OUTSIDE = 0.85, 0.3, 0.05
SEAT_SPEED = 0.1            # u: hips that are faster leave their seat, and feet then bear


@dataclass(frozen=True)
class Support:
    """One contact of a part. part: 'foot.L', 'hand.R', 'knee.L', 'seat' ...; kind: of a foot's patch (KINDS), else
    'full'; span in samples; bears: when it bears weight, in samples; assumed: no mesh shows what it rests on, it is
    only told by what the body needs."""
    part: str
    kind: str
    span: Span
    bears: tuple[Span, ...] = ()
    assumed: bool = False


@dataclass(frozen=True)
class Supports:
    """C parts that may carry, F samples. parts (C); found: all contacts in time order; touches (C, F) bool; load (C, F)
    body weights that each bears, NaN in the first and last tenth of a second; place (F, C, 3) m, the middle of each
    patch; point (F, 3) m, the pressure point that the motion needs on the level of the feet, NaN where it tells
    none."""
    parts: tuple[str, ...]
    found: tuple[Support, ...]
    touches: Array
    load: Array
    place: Array
    point: Array

    def bearing(self, part: str) -> Array:
        """(F,) bool: the part touches, and bears weight as far as is known."""
        k = self.parts.index(part)
        return np.asarray(self.touches[k] & ~(self.load[k] < BEARS))


@measure(NOTHING, uses=(tread, footfalls, underbody, underfoot, mass_motion, exposure))
def supports(study: Study, character: Character) -> Supports:
    """Contacts of all parts, and how they share the body's weight."""
    t: Tread = study.of(tread, character)
    fallen: Footfalls = study.of(footfalls, character)
    under: Underbody = study.of(underbody, character)
    moved: MassMotion | None = study.of(mass_motion, character)
    shot = study.shot
    f = shot.count
    feet = tuple(fallen.falls)
    parts = (*feet, *under.names)
    falls = [Support(part, fall.kind, fall.span) for part in feet for fall in fallen.falls[part]]
    place = np.empty((f, len(parts), 3))
    place[:, len(feet):] = under.places
    for k in range(len(feet)):
        place[:, k] = _middles(t, fallen.planted[:, k * N:k * N + N], t.places[:, k * N:k * N + N], f)
    point = np.full((f, 3), np.nan)
    load = np.full(f, np.nan)
    if moved is not None:
        surface = moved.center + (under.level - moved.center @ moved.up)[:, None] * moved.up
        point = np.where(moved.bears[:, None], moved.pressure_point(surface), np.nan)
        load = np.where(moved.sure, moved.load, np.nan)
    plane = level_plane(t.up)
    ways = _ways(study, character, under, t)
    rest = _rests(under, ways, t, f)
    rest += _seat(under, ways, t, fallen, rest, point @ plane, plane, f)
    ground: Underfoot = study.of(underfoot, character)
    meshes = {f"foot.{side}": np.isfinite(height).any(1) for side, height in ground.height.items()}
    unseen = [s for s in falls if not meshes[s.part][s.span.first:s.span.last + 1].any()]
    hung = _hung(unseen, rest, place, point @ plane, plane, parts, under, t, fallen)
    found = [s for s in falls + rest if not any(s is h for h in hung)]
    touches = _touching(found, parts, f)
    share = load_shares((place @ plane).transpose(2, 1, 0), touches, (point @ plane).T)
    each = np.where(touches, share * load, 0.0)
    least = max(1, round(BEARS_FOR * shot.rate))
    told = [replace(s, bears=_bearing(s, each[parts.index(s.part)], found, least)) for s in found]
    order = sorted(told, key=lambda s: (s.span.first, parts.index(s.part)))
    return Supports(parts, tuple(order), touches, each, place, point)


def _bearing(s: Support, own: Array, found: list[Support], least: int) -> tuple[Span, ...]:
    """The spans of a contact in which it bears weight, from what its part bears (F,): its own ends, else the moment at
    which another part takes the weight over, else where the load crosses."""
    a, b = s.span.first, s.span.last
    rows = own[a:b + 1]
    bears = ~(rows < BEARS)
    for first, last in spans(~bears):               # what is over sooner is a shift of weight or an error of the point
        if last - first + 1 < least:
            bears[first:last + 1] = True
    moments = np.array([m for other in found if other is not s for m in (other.span.on, other.span.off)
                        if m is not None])
    out = []
    for first, last in spans(bears, min(least, len(bears))):
        on, off = s.span.on, s.span.off
        if first > 0:
            on = _crossing(rows, first, -1) + a
            on = float(moments[np.abs(moments - on).argmin()]) if (np.abs(moments - on) < 1.5).any() else on
        if last < b - a:
            off = _crossing(rows, last, +1) + a
            off = float(moments[np.abs(moments - off).argmin()]) if (np.abs(moments - off) < 1.5).any() else off
        out.append(Span(on, off, a + first, a + last))
    return tuple(out)


def _crossing(load: Array, at: int, side: int) -> float:
    """Where the load crosses BEARS between a sample that bears and the next one to its side."""
    inner, outer = load[at], load[at + side]
    if not np.isfinite(inner) or inner <= outer:
        return at + side * 0.5
    return float(at + side * min((inner - BEARS) / (inner - outer), 1.0))


def level_plane(up: Array) -> Array:
    """Two directions (3, 2) that are level."""
    seed = np.array([1.0, 0, 0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0])
    e1 = seed - seed @ up * up
    e1 /= np.linalg.norm(e1)
    return np.stack([e1, cross(up, e1)], 1)


def _middles(t: Tread, planted: Array, places: Array, count: int) -> Array:
    """(F, 3) the middle of a foot's patch, of its whole sole where it does not stand."""
    weight = np.where(planted.any(1, keepdims=True), planted, True).astype(float)
    middle = np.einsum("ds,dsi->di", weight, places) / weight.sum(1, keepdims=True)
    return straight(middle, t.samples, np.arange(count))


def _ways(study: Study, character: Character, under: Underbody, t: Tread) -> touch.Pace | None:
    """How fast the parts move against what is below them, on the character's drawings."""
    taken = study.of(exposure, character).drawings
    if len(taken) < 3 or not under.names:
        return None
    path = np.zeros_like(under.places)
    np.cumsum(under.motion, axis=0, out=path[1:])
    steps = np.diff((under.places - path)[taken], axis=0)
    dt = np.diff(taken) / study.shot.rate
    height = (under.over - under.reach)[taken].T
    return touch.pace(np.ascontiguousarray(steps.transpose(1, 2, 0)), taken, dt, height, t.leg, t.speed)


def _rests(under: Underbody, ways: touch.Pace | None, t: Tread, count: int) -> list[Support]:
    """Parts other than feet that lie on the ground and are slow."""
    if ways is None:
        return []
    taken = t.samples
    near, low = (touch.over_each((under.over < more * under.reach)[taken].T.astype(float), ways.width) > 0
                 for more in (STAYS, 1.0))
    out = []
    for k, name in enumerate(under.names):
        least = np.where(near[k], ways.ratio[k], np.inf)
        runs = [(a, b) for a, b in _lasting(touch.standing(least), ways, t, RESTS_FOR) if low[k, a:b + 1].any()]
        out += [Support(name, "full", span) for span in touch.timed(runs, least, ways, count)]
    return out


def _lasting(runs: list[tuple[int, int]], ways: touch.Pace, t: Tread, seconds: float) -> list[tuple[int, int]]:
    """Runs with short gaps closed, those that last."""
    kept: list[tuple[int, int]] = []
    for a, b in runs:
        if kept and (a - kept[-1][1] - 1) / t.rate < touch.FILL:
            kept[-1] = (kept[-1][0], b)
        else:
            kept.append((a, b))
    return [(a, b) for a, b in kept if (b - a + ways.width) / t.rate >= seconds]


def _seat(under: Underbody, ways: touch.Pace | None, t: Tread, fallen: Footfalls, rest: list[Support], point: Array,
          plane: Array, count: int) -> list[Support]:
    """A seat that no mesh shows: hips still and low, and the body's pressure point (F, 2), in the level plane, outside
    of all that touches the ground."""
    if ways is None or "seat" not in under.names:
        return []
    k = under.names.index("seat")
    speed = ways.speed[k] / t.speed
    runs = _lasting(touch.standing(speed, SEAT_SPEED, SEAT_SPEED), ways, t, SITS_FOR)
    low = under.over[:, k] < SITS * t.leg
    known = under.known[:, k] | _touching(rest, ("seat",), count)[0]
    out = []
    for span in touch.timed(runs, speed, ways, count, SEAT_SPEED, SEAT_SPEED):
        rows = np.arange(span.first, span.last + 1)
        if known[rows].any() or low[rows].mean() <= 0.5:
            continue
        gap = outside(t, fallen, under, rest, point, plane, rows)
        sits = low[rows] & np.isfinite(point[rows, 0]) & ~(gap < SITS_OUTSIDE * t.leg)
        if sits.mean() > 0.5:
            out.append(Support("seat", "full", span, assumed=True))
    return out


def outside(t: Tread, fallen: Footfalls, under: Underbody, rest: Sequence[Support], point: Array, plane: Array,
            rows: Array, but: int | None = None) -> Array:
    """(R,) m at samples ``rows`` from the pressure point to all that touches, but for the foot of that number."""
    drawn = np.clip(np.searchsorted(t.samples, rows, side="right") - 1, 0, None)
    planted = fallen.planted[drawn]
    if but is not None:
        planted[:, but * N:but * N + N] = False
    others = sorted({under.names.index(s.part) for s in rest})
    down = np.concatenate([planted, _touching(rest, under.names, len(point))[others][:, rows].T], 1)
    places = np.concatenate([t.places[drawn], under.places[rows][:, others]], 1) @ plane
    away = smallest_norm(places - np.nan_to_num(point[rows])[:, None], down)
    return np.asarray(np.where(np.isfinite(point[rows, 0]), np.linalg.norm(away, axis=-1), 0.0))


def _hung(falls: list[Support], rest: list[Support], place: Array, point: Array, plane: Array, parts: tuple[str, ...],
          under: Underbody, t: Tread, fallen: Footfalls) -> list[Support]:
    """Contacts of feet, no mesh below them, that are held still in the air: high over where the other stands, and never
    needed."""
    rate = sample_rate(t)
    least = max(1, round(HANGS_FOR * rate))
    hung = []
    for s in falls:
        k = parts.index(s.part)
        rows = np.arange(s.span.first, s.span.last + 1)
        if (place[rows, k] @ t.up - under.level[rows]).min() < HANGS * t.leg:
            continue
        gap = outside(t, fallen, under, rest, point, plane, rows, but=k)
        # where nothing else touches the gap is no number, and something must carry the body
        if not spans(~(gap < HANGS_OUTSIDE * t.leg), min(least, len(gap))):
            hung.append(s)
    return hung


def _touching(found: Sequence[Support], parts: tuple[str, ...], count: int) -> Array:
    """(C, F) bool: which of these parts touch."""
    out = np.zeros((len(parts), count), bool)
    for s in (s for s in found if s.part in parts):
        out[parts.index(s.part), s.span.first:s.span.last + 1] = True
    return out
