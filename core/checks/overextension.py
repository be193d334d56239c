# SPDX-License-Identifier: GPL-3.0-or-later
"""Limbs pulled out to their full length and past it."""

from collections.abc import Iterator
from math import cos, radians, sin

import numpy as np

from .. import body
from ..amounts import length
from ..check import Check
from ..evidence import Arc, Evidence, Point, Polyline
from ..measures.key_refs import keys_in
from ..measures.reach import FLAT, Reach, reach
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..numeric import rotation as rot
from ..numeric.spans import HELD_SECONDS, Span, beyond, held, joined, samples
from ..remedy import Move
from ..shot import Character
from ..study import Study

Array = np.ndarray

CLOSES = 0.010  # share of the length at which a span of stretch or gap ends
JOIN_SECONDS = 0.2
BEND_LEFT = 15.0  # degrees of bend that the remedy gives back
EASE_SECONDS = 0.25  # 6 frames of 24
SWINGS = 0.8  # a limb that turns farther than this cosine from the one offset is brought back along its own line
EASE_SWINGING = 3  # frames
STEP = 1.5  # degrees in a frame of 24: a limb without a goal that comes in or goes out slower is posed straight
MOST_SPELLS = 3  # more flat spells of one limb than this are one note
HALF_ARC = radians(20.0)  # of the arc that is drawn where a straight limb's end may go
STANDS = 0.02  # share of the leg within which the foot stays where it is


class Overextension(Check):
    """A limb is pulled to its full length: its goal is out of reach, its bones stretch, or its joint stands flat.

    Seen as: a knee or elbow that snaps straight and sticks there, a foot that lags behind its control, a leg that
    grows.
    Measures: for each two-bone limb its stretch over the length at rest, and the gap between its inverse-kinematics
    goal and its end over that length (only where the limb is straight), both as shares; without either, degrees of
    bend left. The armature's own scale is taken out.
    Limit: the greater of stretch and gap, held for 0.08 s (2 frames of 24): 1.5 % low, 3 % medium, 6 % high; 3 % of a
    limb's length is what people see with attention (Harrison 2004, ACM TOG 23:569-573). What the card lets the limb
    stretch is added. Under 1 degree of bend and still within 0.1 degree for 0.1 s is low, never more.
    Silent when: a straight limb keeps moving, as legs of real walks do; a limb without a goal is held straight and
    comes to it and leaves it without a snap, which is a pose; the gap shows on a bent limb, where it is the rig's own
    offset.
    Cannot see: by how much a baked, rigid limb was pulled: only how long it stood flat; a third bone that takes up the
    reach; scaled bones meant as such (say so on the card).
    Remedy: move the goal nearer to the limb's root by one offset for the whole span, eased in and out, until 15 degrees
    of bend are left; where the limb swings meanwhile, by one amount along its own line; where the foot stands, the
    pelvis toward the foot.
    """

    lane = "Limbs"
    uses = (reach,)
    own_needs = Need.KEYS  # for the note to name, never for the finding
    groups = tuple(body.LIMBS.values())
    limit = Limit(
        0.015,
        0.03,
        0.06,
        "1",
        "3 % of a limb's length is seen with attention: Harrison 2004, ACM TOG 23:569-573; "
        f"half and twice of it: {COMMON_PRACTICE}",
    )
    flat_limit = Limit(FLAT, FLAT, FLAT, "deg", f"straight within 1 deg and still for 0.1 s: {COMMON_PRACTICE}")

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        for limb in study.of(reach, character).values():
            taken = []
            for note, span in self._pulled(study, character, limb):
                taken.append(span)
                yield note
            yield from self._flat(study, character, limb, taken)

    def _pulled(self, study: Study, character: Character, limb: Reach) -> Iterator[tuple[Note, Span]]:
        """Stretch and gap."""
        allowed = character.card.stretch.get(limb.limb, 0.0)
        amount = np.fmax(limb.stretch, limb.gap)
        level = amount - allowed
        rate = study.shot.rate
        solid = held(level, samples(HELD_SECONDS, rate))
        for span in beyond(level, self.limit.low, CLOSES, samples(JOIN_SECONDS, rate)):
            severity = self.limit.severity(float(solid[span[0] : span[1] + 1].max()))
            worst = span[0] + int(np.nanargmax(level[span[0] : span[1] + 1]))
            whole = _with_flat(span, limb.flat)
            if severity is None:
                # a peak too short to count is one all the same where the limb stands flat around it
                if whole == span:
                    continue
                severity = Severity.LOW
            measured = float(amount[worst])
            stretched = bool(limb.stretch[worst] >= limb.gap[worst])
            yield (
                self.note(
                    study,
                    character,
                    body.LIMBS[limb.limb][1],
                    whole,
                    worst,
                    severity=severity,
                    measured=measured,
                    limit=self.limit.step(severity) + allowed,
                    kind="stretch" if stretched else "gap",
                    text=_pulled_text(study, character, limb, stretched, measured, worst),
                    remedy=_remedy(study, character, limb, whole, worst),
                    evidence=_evidence(study, limb, whole, worst),
                    keys=_keys(study, character, limb, whole),
                ),
                whole,
            )

    def _flat(self, study: Study, character: Character, limb: Reach, taken: list[Span]) -> Iterator[Note]:
        """Flatness alone."""
        spells = [
            s
            for s in limb.flat
            if not any(s[0] <= t[1] and t[0] <= s[1] for t in taken)
            and (limb.has_goal or _snaps(limb.flexion, s, study.shot.rate))
        ]
        many = len(spells) > MOST_SPELLS
        for span in [(spells[0][0], spells[-1][1])] if many else spells:
            flat = np.concatenate([np.arange(a, b + 1) for a, b in spells if span[0] <= a and b <= span[1]])
            longest = max((s for s in spells if span[0] <= s[0] and s[1] <= span[1]), key=lambda s: s[1] - s[0])
            worst = (longest[0] + longest[1]) // 2  # it stands still, so its middle is as bad as any
            joint = _joint(limb.limb)
            count = f"stands straight in {len(spells)} spells, " if many else ""
            frames = (study.shot.frame(span[0]), study.shot.frame(span[1]))
            yield self.note(
                study,
                character,
                body.LIMBS[limb.limb][1],
                span,
                worst,
                severity=Severity.LOW,
                measured=float(limb.flexion[worst]),
                limit=FLAT,
                unit="deg",
                source=self.flat_limit.source,
                kind="flat",
                text=(
                    f"The {joint} {count}{'clamped' if many else 'stands straight,'} at "
                    f"{limb.flexion[worst]:.2f} degrees of bend "
                    f"from frame {frames[0]} to {frames[1]}"
                ),
                remedy=_remedy(study, character, limb, span, worst, flat),
                evidence=_evidence(study, limb, span, worst),
                keys=_keys(study, character, limb, span),
            )


def _bare_joint(limb: str) -> str:
    return "knee" if limb.startswith("leg") else "elbow"


def _joint(limb: str) -> str:
    return body.spoken(f"{_bare_joint(limb)}.{body.side(limb)}")


def _with_flat(span: Span, flat: tuple[Span, ...]) -> Span:
    """The span together with the flat spells that it touches."""
    touching = [s for s in flat if s[0] <= span[1] + 1 and span[0] - 1 <= s[1]]
    return joined([span, *touching], 2)[0]


def _snaps(flexion: Array, span: Span, rate: float) -> bool:
    """Whether the bend steps at one end of a flat spell, by more than STEP degrees in a frame of 24."""
    steps = np.abs(np.diff(flexion)) * rate / 24.0
    near = [steps[i] for i in (span[0] - 2, span[0] - 1, span[1], span[1] + 1) if 0 <= i < len(steps)]
    return bool(near) and max(near) > STEP


def _pulled_text(study: Study, character: Character, limb: Reach, stretched: bool, measured: float, worst: int) -> str:
    size = measured * float(limb.length[worst]) * character.real_size
    frame = study.shot.frame(worst)
    if stretched:
        return (
            f"The {body.spoken(limb.limb)} is {100 * measured:.1f} % longer than at rest in frame {frame} "
            f"({length(size)}), its {_bare_joint(limb.limb)} bent by {limb.flexion[worst]:.1f} degrees"
        )
    return (
        f"The goal of the {body.spoken(limb.limb)} is {100 * measured:.1f} % of the limb's length out of reach "
        f"in frame {frame} "
        f"({length(size)}), its {_bare_joint(limb.limb)} bent by {limb.flexion[worst]:.1f} degrees"
    )


def _remedy(study: Study, character: Character, limb: Reach, span: Span, worst: int, flat: Array | None = None) -> Move:
    """One offset that leaves BEND_LEFT degrees on every frame of ``flat`` (sample indices; else of the span)."""
    at = np.arange(span[0], span[1] + 1) if flat is None else flat
    line = limb.end[at] - limb.root[at]
    far = np.linalg.norm(line, axis=-1)
    inward = -line / np.maximum(far, 1e-9)[:, None]
    share = limb.reach_at(BEND_LEFT)
    stretch = np.maximum(limb.stretch[at], 0.0)
    # nearer until the bend is back; a limb that is stretched though bent: by what it has grown
    need = np.maximum(far + limb.gap[at] * limb.length[at] - share * limb.length[at], far * stretch / (1.0 + stretch))
    weight = np.maximum(need, 0.0)
    way = rot.unit((inward * weight[:, None]).sum(axis=0))
    if not np.isfinite(way).all():
        way = -rot.unit(limb.end[worst] - limb.root[worst])
    # where the limb swings away from that line the offset must be longer, within reason
    along = np.clip(inward @ way, 0.5, 1.0)
    size = float(np.nanmax(weight / along))
    frames = (study.shot.frame(span[0]), study.shot.frame(span[1]))
    ease = _ease(study, limb, span, way)
    root, _, end = body.LIMBS[limb.limb]
    hip = "hip" if body.base(root) == "thigh" else "shoulder"
    if _foot_stands(limb, span, study.shot.rate) and not _other_leg_runs_out(study, character, limb, at, -way * size):
        return Move("pelvis", _tuple(-way * size), frames, ease, f"toward the {body.spoken(end)}")
    if float(along.min()) > SWINGS:
        return Move(end, _tuple(way * size), frames, ease, f"toward the {hip}")
    # a limb that swings meanwhile is shortened by one amount along its own line
    every = np.array([int(np.abs(study.shot.frames - f).argmin()) for f in range(frames[0], frames[1] + 1)])
    lines = rot.unit(limb.root[every] - limb.end[every]) * float(np.nanmax(weight))
    here = int(np.abs(every - worst).argmin())
    return Move(end, _tuple(lines[here]), frames, EASE_SWINGING, f"toward the {hip}", tuple(_tuple(v) for v in lines))


def _ease(study: Study, limb: Reach, span: Span, way: Array) -> int:
    """How many frames the offset can be eased over: a quarter of a second, less where a limb that swings fast would
    be pulled outward by it."""
    step = study.shot.fps / study.shot.rate
    most = max(1, round(EASE_SECONDS * study.shot.fps))
    for k in range(1, round(most / step) + 1):
        near = [i for i in (span[0] - k, span[1] + k) if 0 <= i < len(limb.root)]
        if any((limb.root[i] - limb.end[i]) @ way < 0.2 * limb.length[i] for i in near):
            return max(1, int((k - 1) * step))
    return most


def _foot_stands(limb: Reach, span: Span, rate: float) -> bool:
    """Whether the foot's goal, or the foot, holds still in the span and as long round it as the change is eased."""
    if not limb.limb.startswith("leg"):
        return False
    margin = samples(EASE_SECONDS, rate)
    place = limb.goal[max(0, span[0] - margin) : span[1] + margin + 1]
    away = np.linalg.norm(place - place.mean(axis=0), axis=-1).max()
    return bool(away < STANDS * np.nanmean(limb.length))


def _other_leg_runs_out(study: Study, character: Character, limb: Reach, at: Array, offset: Array) -> bool:
    """Whether moving the pelvis would pull the other leg straight."""
    other: Reach | None = study.of(reach, character).get(body.mirror(limb.limb))
    if other is None:
        return False
    far = np.linalg.norm(other.end[at] - other.root[at] - offset, axis=-1) / other.length[at]
    return bool(np.nanmax(far) > other.reach_at(BEND_LEFT / 2))


def _tuple(v: Array) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])


def _evidence(study: Study, limb: Reach, span: Span, worst: int) -> list[Evidence]:
    frames = (study.shot.frame(span[0]), study.shot.frame(span[1]))
    root, mid, end, goal = limb.root[worst], limb.mid[worst], limb.end[worst], limb.goal[worst]
    shapes: list[Evidence] = [Polyline("found", frames, (_tuple(root), _tuple(mid), _tuple(end)))]
    if limb.has_goal:
        shapes.append(Point("found", frames, (_tuple(goal),), "ring"))
    line = rot.unit(goal - root)
    sideways = rot.cross(line, np.eye(3)[int(np.argmin(np.abs(line)))])
    if np.isfinite(line).all() and np.isfinite(limb.length[worst]):
        axis = rot.unit(sideways)
        zero = line * cos(HALF_ARC) - rot.cross(axis, line) * sin(HALF_ARC)
        shapes.append(
            Arc("held_against", frames, _tuple(root), _tuple(axis), _tuple(zero), 40.0, float(limb.length[worst]))
        )
    return shapes


def _keys(study: Study, character: Character, limb: Reach, span: Span) -> tuple:  # type: ignore[type-arg]
    return keys_in(
        character, body.LIMBS[limb.limb], float(study.shot.frames[span[0]]), float(study.shot.frames[span[1]])
    )
