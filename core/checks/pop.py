# SPDX-License-Identifier: GPL-3.0-or-later
"""Knees and elbows that snap straight, or out of straight, from one frame to the next."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Evidence, Label, Polyline, places
from ..measures.exposure import Exposure, exposure
from ..measures.key_refs import keys_in
from ..measures.limbs import Limbs, limbs
from ..measures.moves import RATE, stride_of
from ..measures.ticks import SURROUNDINGS
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..numeric.between import hermite
from ..numeric.rotation import unit
from ..numeric.spacing import agitation, departures
from ..remedy import Soften
from ..shot import Character
from ..study import Study

Array = np.ndarray

#: Degrees of bend under which a joint is straight, and within which its low is one plateau.
STRAIGHT, PLATEAU = 10.0, 0.1
#: A low that is off the smooth way counts by this share: a joint that swings past straight turns round as fast.
SPIKE = 0.5
#: Degrees of bend that the remedy leaves where a smooth way between the frames outside would still snap.
BEND_LEFT = 12.0
#: Of the leg's length: a foot that moves less than this around the pop stands, and the pelvis moves.
STANDS = 0.02
#: More pops of one joint than this are one note.
MOST = 3
#: A pop is above low where the joint is straight for so many drawings at most ...
BRIEF = 2
#: ... and the pop is so many times the bend's own restlessness, ...
BEYOND = 8.0
#: ... and on so many drawings a second at least: on fewer a fast bend is one step as well.
FEW = 20.0
#: Drawings at RATE within which pops are one, and drawn on each side of it.
TOGETHER, AROUND = 3, 4


@dataclass(frozen=True)
class Spell:
    """A joint straight on samples first to last; into, out: degrees a frame of 24 by which its step into straight,
    out of it, is larger than the two before, after it; spike: by which a single low lies off the smooth way between
    its neighbors. stride: samples from drawing to drawing read; rate: of those, a second; rest: degrees a frame of 24
    by which the bend strays from smooth within 0.75 s anyway."""

    first: int
    last: int
    into: float
    out: float
    spike: float
    stride: int
    rate: float
    rest: float

    @property
    def snap(self) -> float:
        return max(self.into, self.out, SPIKE * self.spike)

    @property
    def both(self) -> float:
        """Degrees a frame of 24 by which it snaps both into straight and out again, at once: nothing that a move asks
        for. 0 where the joint stays straight, as a chain does that a fast step or punch pulls to its length."""
        return min(self.into, self.out) if self.last - self.first < BRIEF * self.stride else 0.0

    def sure(self, least: float) -> bool:
        """Whether it may be more than low: ``least`` both ways, far out of what the joint does anyway, on enough
        drawings a second to tell a snap from a fast move."""
        return self.both >= least and self.snap >= BEYOND * self.rest and self.rate >= FEW


class Pop(Check):
    """A knee or elbow snaps straight, or out of straight, in one frame.

    Seen as: the joint jumps at the end of a reach or a step: a chain pulled to its length by its control, or one bad
    key.
    Measures: the bend of knees and elbows where it has a low under 10 degrees: by how many degrees a frame of 24 the
    step into straight is larger than both steps before it, or the step out larger than both after it; or, where that
    is more, half of how far the low lies off the smooth way between two frames on each side. A real joint slows down
    before it is straight; a pulled chain speeds up into it. Above 36 frames a second each phase of every second
    (third, ...) frame is read.
    Limit: 4 degrees a frame of 24 low, 6 medium, 12 high; above low only a snap both ways at once: by 4 degrees into
    straight and out of it, straight for two drawings at most, 8 times the bend's own restlessness, on 20 drawings a
    second at least. Clean motion snaps both ways by 3 degrees at most, but for one knee that does snap, and one way by
    up to 84: fast steps, punches and falls of hand-keyed motion pull chains to their length and hold them there, which
    leaves 4 to 8 low notes a minute beside the flat joints that own the rest (docs/corpus_spacing.md).
    Silent when: the joint is never under 10 degrees; it comes to straight slowing down, or stays there; stepped (said
    among what was skipped).
    Cannot see: a snap that stays bent; a knee that flips to the other side at the same bend; whether the control was
    out of reach (overextension tells).
    Remedy: bring the limb's end nearer to its root on these frames, or the pelvis nearer to a foot that stands, so that
    the bend runs smoothly between the frames outside and, where it must, stops at 12 degrees.
    """

    lane = "Limbs"
    uses = (limbs, exposure)
    own_needs = Need.JOINTS | Need.KEYS
    groups = tuple(body.LIMBS.values())
    limit = Limit(4.0, 6.0, 12.0, "deg", f"degrees more in a frame of 24 than in its neighbors: {COMMON_PRACTICE}")

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        shown: Exposure = study.of(exposure, character)
        if shown.stepped:
            yield self.skip(character, shown.sentence)
            return
        known: Limbs = study.of(limbs, character)
        for name in known.names:
            if not character.has(*body.LIMBS[name]):
                continue
            if -1 in (shown.parts.get(p) for p in body.LIMBS[name][:2]):
                yield self.skip(character, f"{shown.sentence}; so it is not judged how the {_joint(name)} bends")
                continue
            found = pops(np.degrees(known.bend[known.at(name)]), shown.drawings, study.shot.times, self.limit.low)
            for group in [found] if len(found) > MOST else [[p] for p in found]:
                yield self._note_on(study, character, name, group)

    def _note_on(self, study: Study, character: Character, limb: str, group: list[Spell]) -> Note:
        known: Limbs = study.of(limbs, character)
        bend = np.degrees(known.bend[known.at(limb)])
        least = self.limit.low
        worst = max(group, key=lambda p: (p.sure(least), p.snap))
        at = worst.first if worst.into >= worst.out else worst.last
        span = (group[0].first, group[-1].last)
        severity = self.limit.severity(worst.snap) if worst.sure(least) else Severity.LOW
        assert severity is not None
        frame = study.shot.frame
        way = "straight" if worst.into >= worst.out else "out of straight"
        beside = at + (-worst.stride if worst.into >= worst.out else worst.stride)
        step = abs(bend[at] - bend[min(max(beside, 0), len(bend) - 1)])
        text = (
            f"The {_joint(limb)} snaps {way} in frame {frame(at)}: {step:.0f} degrees in one step, {worst.snap:.0f} "
            f"more a frame of 24 than beside it, to {bend[worst.first]:.0f} degrees of bend"
        )
        if len(group) > 1:
            frames = ", ".join(str(frame(p.first)) for p in group if p is not worst)
            text += f"; so too in {'frame' if len(group) == 2 else 'frames'} {frames}"
        remedy, mended = _remedy(study, character, limb, group)
        return self.note(
            study,
            character,
            body.LIMBS[limb][1],
            span,
            at,
            severity=severity,
            measured=worst.snap,
            text=text,
            remedy=remedy,
            evidence=_evidence(study, known, limb, worst, mended, f"{worst.snap:.0f} deg"),
            keys=keys_in(character, body.LIMBS[limb], float(study.shot.frames[max(0, span[0] - worst.stride)]),
                         float(study.shot.frames[min(len(bend) - 1, span[1] + worst.stride)])),
            kind="in" if worst.into >= worst.out else "out",
        )


def pops(bend: Array, drawings: Array, times: Array, least: float) -> list[Spell]:
    """The pops over ``least`` in a bend (F,) in degrees, in order of time. drawings (D,): samples that are drawings of
    their own; times (F,) seconds."""
    stride = stride_of(times[drawings])
    found: list[Spell] = []
    for phase in range(stride):
        at = drawings[phase::stride]
        if len(at) < 7:
            continue
        rate = 1.0 / float(np.median(np.diff(times[at])))
        span = max(1, int(np.median(np.diff(at))))
        off = np.abs(departures(bend[at][:, None])[:, 0])
        for first, last, *sizes in snaps(bend[at]):
            into, out, spike = (size * rate / RATE for size in sizes)
            if max(into, out, SPIKE * spike) >= least:
                rest = agitation(off, first, last, max(4, round(SURROUNDINGS * rate))) * rate / RATE
                found.append(Spell(int(at[first]), int(at[last]), into, out, spike, span, rate, rest))
    kept: list[Spell] = []
    for pop in sorted(found, key=lambda p: -p.snap):
        if all(p.first - pop.last > TOGETHER * p.stride or pop.first - p.last > TOGETHER * p.stride for p in kept):
            kept.append(pop)
    return sorted(kept, key=lambda p: p.first)


def snaps(bend: Array) -> Iterator[tuple[int, int, float, float, float]]:
    """(first, last, into, out, spike) of each low under STRAIGHT in a bend (D,): degrees that the step into it, out of
    it, is larger than the two before, after it (steps the other way count as none); and that a low of one drawing lies
    under the cubic through its four neighbors."""
    low = np.flatnonzero((bend[3:-3] <= STRAIGHT) & (bend[2:-4] - bend[3:-3] >= PLATEAU)) + 3
    for first in low.tolist():
        last = first
        while last + 1 < len(bend) and abs(bend[last + 1] - bend[first]) < PLATEAU:
            last += 1
        if last + 3 >= len(bend) or bend[last + 1] <= bend[last]:
            continue
        into = -np.diff(bend[first - 3 : first + 1])
        out = np.diff(bend[last : last + 4])
        near = bend[first - 2 : first + 3]
        spike = float(np.dot((-1, 4, -6, 4, -1), near)) / 6 if first == last else 0.0
        yield first, last, float(into[2] - max(into[0], into[1], 0)), float(out[0] - max(out[1], out[2], 0)), spike


def _joint(limb: str) -> str:
    return body.spoken(f"{'knee' if limb.startswith('leg') else 'elbow'}.{body.side(limb)}")


def _smooth_bend(bend: Array, group: list[Spell]) -> Array:
    """The bend (F,) with each pop's frames on a smooth way between the frames outside; where that still snaps, never
    under BEND_LEFT."""
    out = bend.copy()
    for pop in group:
        k = pop.stride
        a, b = max(pop.first - k, 0), min(pop.last + k, len(bend) - 1)
        if a < k or b + k >= len(bend):
            inside = np.full(b - a - 1, max(BEND_LEFT, bend[pop.first]))
        else:
            inside = _between(bend[:, None], a, b, k)[:, 0]
            inside = np.clip(inside, bend[a + 1 : b], np.maximum(max(bend[a], bend[b]), bend[a + 1 : b]))
        trial = out.copy()
        trial[a + 1 : b] = inside
        rows = trial[max(0, a - 6 * k) : b + 6 * k + 1]
        left = [max(*s[2:4], SPIKE * s[4]) for p in range(k) for s in snaps(rows[p::k])]
        if inside.min(initial=np.inf) <= STRAIGHT and max(left, default=0.0) > 0.5 * Pop.limit.low:
            trial[a + 1 : b] = np.maximum(inside, BEND_LEFT)
        out = trial
    return out


def _between(rows: Array, a: int, b: int, k: int) -> Array:
    """Rows (F, D) on a smooth way from row a to row b, those inside alone, which goes on at the slopes of the k rows
    outside."""
    t = np.arange(1, b - a)[:, None] / (b - a)
    leaving, coming = (rows[a] - rows[a - k]) / k * (b - a), (rows[b + k] - rows[b]) / k * (b - a)
    return hermite(rows[a], rows[b], leaving, coming, t)


def _smooth_line(line: Array, group: list[Spell]) -> Array:
    """The limb's line (F, 3), a unit vector, brought to a smooth way too where it is thrown aside by a brief pop."""
    out = line.copy()
    for pop in group:
        k = pop.stride
        a, b = pop.first - k, pop.last + k
        if pop.last - pop.first < BRIEF * k and a >= k and b + k < len(line):
            out[a + 1 : b] = unit(_between(line, a, b, k))
    return out


def _remedy(study: Study, character: Character, limb: str, group: list[Spell]) -> tuple[Soften, Array]:
    """The move of the limb's end or of the pelvis, and the mended path (F, 3) of the knee or elbow."""
    known: Limbs = study.of(limbs, character)
    k = known.at(limb)
    assert k is not None
    root, mid, end = known.root[k], known.mid[k], known.end[k]
    upper, lower = known.upper[k], known.lower[k]
    bend = _smooth_bend(np.degrees(known.bend[k]), group)
    far = np.sqrt(upper**2 + lower**2 + 2 * upper * lower * np.cos(np.radians(bend)))
    line = unit(end - root)
    aside = _smooth_line(line, group)
    nearer = np.linalg.norm(end - root, axis=-1) - far
    span = group[0].first - group[0].stride + 1, group[-1].last + group[-1].stride - 1
    frames = study.shot.frame(span[0]), study.shot.frame(span[1])
    every = [int(np.abs(study.shot.frames - f).argmin()) for f in range(frames[0], frames[1] + 1)]
    part = body.LIMBS[limb][2]
    way = line * nearer[:, None]
    if limb.startswith("leg"):
        # on the frames beside it too: alone a frame never moves
        near = end[max(0, group[0].first - 2 * group[0].stride) : group[-1].last + 2 * group[-1].stride + 1]
        away = np.linalg.norm(near - near.mean(axis=0), axis=-1).max()
        if away < STANDS * character.leg_length and not _other_snaps(study, character, limb, every, way):
            toward = f"toward the {body.spoken(part)}"
            mended = _mid_on(line, root, mid, upper, lower, far) + way
            return Soften("pelvis", frames, places(way[every]), toward), mended
    toward = f"toward the {'hip' if limb.startswith('leg') else 'shoulder'}"
    way = root + far[:, None] * aside - end
    mended = _mid_on(aside, root, mid, upper, lower, far)
    return Soften(part, frames, places(way[every]), toward), mended


def _mid_on(line: Array, root: Array, mid: Array, upper: Array, lower: Array, far: Array) -> Array:
    """The knee or elbow (F, 3) of a limb that reaches ``far`` (F,) along a line (F, 3): as far out as the two bones
    make it, on the side where it was."""
    along = (upper**2 + far**2 - lower**2) / (2 * far)
    pole = mid - root - ((mid - root) * line).sum(-1, keepdims=True) * line
    size = np.linalg.norm(pole, axis=-1, keepdims=True)
    side = np.where(size > 1e-6, pole / np.maximum(size, 1e-12), 0.0)
    height = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    return np.asarray(root + along[:, None] * line + height[:, None] * side)


def _other_snaps(study: Study, character: Character, limb: str, every: list[int], way: Array) -> bool:
    """Whether the pelvis moved by ``way`` (F, 3) on the samples ``every`` would pull the other leg beyond its length,
    or let its knee snap more than it does."""
    known: Limbs = study.of(limbs, character)
    shown: Exposure = study.of(exposure, character)
    k = known.at(body.mirror(limb))
    if k is None:
        return False
    upper, lower = known.upper[k][every], known.lower[k][every]
    far = np.linalg.norm(known.end[k][every] - known.root[k][every] - way[every], axis=-1)
    if (far > upper + lower).any():
        return True
    was = np.degrees(known.bend[k])
    now = was.copy()
    now[every] = np.degrees(np.arccos(np.clip((far**2 - upper**2 - lower**2) / (2 * upper * lower), -1, 1)))

    def largest(bend: Array) -> float:
        found = pops(bend, shown.drawings, study.shot.times, Pop.limit.low)
        return max((p.snap for p in found if p.last >= every[0] - 1 and p.first <= every[-1] + 1), default=0.0)

    return largest(now) > largest(was)


def _evidence(
    study: Study, known: Limbs, limb: str, pop: Spell, mended: Array, told: str
) -> tuple[Evidence, ...]:
    k = known.at(limb)
    assert k is not None
    a = max(0, pop.first - AROUND * pop.stride)
    b = min(len(mended) - 1, pop.last + AROUND * pop.stride)
    frames = study.shot.frame(a), study.shot.frame(b)
    at = study.shot.frame(pop.first)
    chain = places(np.stack([known.root[k][pop.first], known.mid[k][pop.first], known.end[k][pop.first]]))
    return (
        Polyline("found", frames, places(known.mid[k][a : b + 1]), ticks=True),
        Polyline("held_against", frames, places(mended[a : b + 1]), ticks=True, dashed=True),
        Polyline("found", (at, at), chain),
        Label("found", (at, at), chain[1], told),
    )
