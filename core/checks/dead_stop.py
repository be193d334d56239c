# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves that end from full speed to nothing in one frame."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Evidence, Label, Place, Point, Polyline, places
from ..measures.exposure import Exposure, exposure, unjudged
from ..measures.hits import Hits, hits
from ..measures.in_reach import arm_of, in_reach, reached
from ..measures.key_refs import keys_in
from ..measures.moves import Moves, moves, settle
from ..measures.paths import where
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..numeric.between import hermite
from ..numeric.moves import Move
from ..remedy import Settle
from ..shot import Character, Shot
from ..study import Study

Array = np.ndarray

#: Part -> the part whose end draws its path: of a hand the wrist, since fingers and hands are often not keyed.
PATHS = {
    "pelvis": "pelvis",
    "chest": "chest",
    "head": "head",
    "hand.L": "forearm.L",
    "hand.R": "forearm.R",
}
#: Part -> what moves it, besides what it hangs from.
MOVED_BY = {
    "pelvis": ("pelvis",),
    "chest": ("spine", "chest"),
    "head": ("neck", "head"),
    "hand.L": ("clavicle.L", "upper_arm.L", "forearm.L"),
    "hand.R": ("clavicle.R", "upper_arm.R", "forearm.R"),
}
#: Legs a second of the peak, for low and medium, and for high.
LEAST_PEAK, HIGH_PEAK = 0.5, 1.0
#: A move of two frames always looks like this: shorter ones are left out.
LEAST_SECONDS, LEAST_STEPS = 0.12, 3
#: What follows the stop is nothing where it is below this share of the peak ...
NOTHING = 0.15
#: ... and no settle where the part is moved by less than this share of the travel within a quarter second.
SETTLED = 0.03
#: A part stops because of another that it hangs from where that one's motion makes up this share of its last step.
CARRIED = 0.6
#: Seconds within which stops are one.
TOGETHER = 1 / 24
#: The overshoot that the remedy gives, as shares of the last step, frame by frame.
OVERSHOOT = (0.35, 0.5, 0.42, 0.26, 0.1, 0.0)
#: A head or chest whose last step lies so much along its own line (cosine) is brought on by no turn of its own.
ALONG = 0.7
#: Seconds of path drawn after the stop.
AFTER = 0.25
#: A head stops hard where the trunk comes to lie within so many seconds of it.
FALLS = 0.12
#: Of the leg: joints that stay within it, seen from the pelvis, make the same pose.
SAME_POSE = 1e-3


@dataclass(frozen=True)
class Stop:
    """One part's hard stop, with those of other parts in the same frame. hit: what it has come to touch, or ''."""

    part: str
    move: Move
    severity: Severity
    hit: str
    others: tuple["Stop", ...] = ()


class DeadStop(Check):
    """A part hits a wall: from full speed to nothing in one frame, without a settle.

    Seen as: a machine that is switched off; the move ends as if it had hit glass.
    Measures: the paths of pelvis, chest, head and wrists in the world: the speed of a move's last step as a share of
    the move's own peak, where a rest of 0.1 s under 15 % of the peak follows. Moves of at least 3 frames and 0.12 s
    whose peak is over 0.5 leg/s. Above 36 frames a second each phase of every second (third, ...) frame is read, so the
    frame told is exact to one of 24 a second.
    Limit: last step over peak 50 % low, 65 % medium, 80 % high (where the peak is over 1 leg/s). Of natural stops one
    in a hundred passes 41 %; an eased stop of 6 frames has 12 %. Planted stops are all found; on captured and
    hand-keyed motion two clips have one above low, a run that stops rising in the air (docs/corpus_spacing.md). Not
    on trial, for that; airborne owns the stops of hips that float.
    Silent when: the part settles, moved by over 3 % of its travel within 0.25 s; stepped, and on twos, where the last
    drawing hides the ease (both said among what was skipped); feet, whose contacts stop them; a cycle that has run
    out, so that the figure stands in the pose of its first frame to the end of the shot. At most low where a hand, head
    or the trunk has just come to the ground, a prop, another figure or the own body: right if it hits.
    Cannot see: moves of one or two frames; a stop with one soft frame at half speed; a hit on something that the shot
    does not hold.
    Remedy: let the part go on past its stop by half of its last step and settle within six frames, and with it a hand
    that it carries, or the hips that alone can carry it on, where they stop too; no arm comes nearer to straight than
    98.5 % of its length.
    """

    lane = "Spacing"
    uses = (moves, exposure, hits)
    own_needs = Need.JOINTS | Need.ROTATIONS | Need.KEYS
    limit = Limit(0.5, 0.65, 0.8, "1", COMMON_PRACTICE)
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        shown: Exposure = study.of(exposure, character)
        if shown.step > 1:
            yield self.skip(character, f"{shown.sentence}; the last drawing of a move hides how it stops")
            return
        held = {p for p, n in shown.parts.items() if n > 1 or n == -1}
        off = [p for p in PATHS if held & set(MOVED_BY[p])]
        if off:
            names = ", ".join(body.spoken(p) for p in off)
            yield self.skip(character, f"{shown.sentence}; so it is not judged how the {names} stops")
        found = [s for part in PATHS if part not in off for s in self._stops(study, character, part)]
        known: Moves = study.of(moves, character)
        slack = max(1, round(TOGETHER * study.shot.rate))
        for stop in _together(found, character, known.paths.drawings, slack):
            yield self._note_on(study, character, stop)

    def _stops(self, study: Study, character: Character, part: str) -> Iterator[Stop]:
        known: Moves = study.of(moves, character)
        signal = known.signal(PATHS[part], "path")
        if signal is None:
            return
        for move in known.of(PATHS[part], "path"):
            if self.limit.severity(move.last_share) is None or not move.stops or move.speed < LEAST_PEAK:
                continue
            if move.after > NOTHING or float(signal.seconds[move.first : move.last].sum()) < LEAST_SECONDS - 1e-6:
                continue
            if move.last - move.first < LEAST_STEPS * known.stride or settle(signal, move)[1] >= SETTLED:
                continue
            at = int(known.paths.drawings[move.last])
            if _ran_out(study, character, at):
                continue
            own = part if character.has(part) else PATHS[part]
            hit = study.of(hits, character).of(own, at) or _falls(study, character, part, at)
            severity = self.limit.severity(move.last_share)
            if severity is Severity.HIGH and move.speed < HIGH_PEAK:
                severity = Severity.MEDIUM
            yield Stop(own, move, Severity.LOW if hit or severity is None else severity, hit)

    def _note_on(self, study: Study, character: Character, stop: Stop) -> Note:
        known: Moves = study.of(moves, character)
        meters = character.leg_length * character.real_size
        first, last = (int(known.paths.drawings[i]) for i in (stop.move.first, stop.move.last))
        frame = study.shot.frame(last)
        share = 100 * stop.move.last_share
        text = (
            f"The {body.spoken(stop.part)} stops dead in frame {frame}: its last frame still has {share:.0f} % of the "
            f"move's {stop.move.speed * meters:.2f} m/s, the next has nothing, and no settle follows"
        )
        parts = (stop.part, *(other.part for other in stop.others))
        if stop.others:
            text += f"; with it the {body.listed(parts[1:])}"
        if stop.hit:
            text += f"; right if it hits the {stop.hit}"
        paths = {part: where(character, PATHS.get(part, part)) for part in parts}
        # what carries or is carried and stops as well, too slow to be told of, goes its own way on
        with_it = {*_carriers(character, parts, last, known.stride), *_carried(character, parts)}
        settling = paths | {p: path for p in PATHS if p in with_it and _stands(
            path := where(character, PATHS[p]), last, known.stride)}
        beyond = _in_reach(character, {p: _beyond(path, last, study.shot) for p, path in settling.items()}, last)
        frames = frame, frame + len(beyond[stop.part]) - 1
        chain = dict.fromkeys(p for part in beyond for p in (*MOVED_BY.get(part, ()), part) if character.has(p))
        slack = known.stride / study.shot.rate * study.shot.fps
        at = float(study.shot.frames[last])
        return self.note(
            study,
            character,
            stop.part,
            (first, last),
            last,
            severity=stop.severity,
            measured=stop.move.last_share,
            text=text,
            remedy=Settle(tuple(beyond), frames, tuple(beyond.values())),
            evidence=_evidence(study, paths[stop.part], (first, last), beyond[stop.part], share),
            # those under the settle as well: it may move no others
            keys=keys_in(character, chain, at - slack, max(at + slack, float(frames[1]))),
            parts=parts,
        )


def _together(found: list[Stop], character: Character, drawings: Array, slack: int) -> Iterator[Stop]:
    """One stop of those that parts make in one frame: of the severest the nearest to the root that gives most
    of the fastest one's last step, or the fastest itself."""
    groups: list[list[Stop]] = []
    for stop in found:
        joined = [g for g in groups if any(abs(stop.move.last - other.move.last) <= slack for other in g)]
        groups = [g for g in groups if g not in joined] + [[stop, *(s for g in joined for s in g)]]
    for group in groups:
        fastest = max(group, key=lambda s: (s.severity.rank, s.move.speed))
        above = [s for s in group if s.severity is fastest.severity and _hangs(fastest.part, s.part)]
        above.sort(key=lambda s: len(body.descendants(s.part)), reverse=True)
        lead = next((s for s in above if _takes(character, s.part, fastest.part, drawings, fastest.move.last)), fastest)
        order = {part: k for k, part in enumerate(PATHS)}
        rest = {s.part: s for s in group if s.part != lead.part}
        yield replace(lead, others=tuple(sorted(rest.values(), key=lambda s: order.get(s.part, len(order)))))


def _hangs(part: str, above: str) -> bool:
    return part in body.descendants(above)


def _takes(character: Character, owner: str, child: str, drawings: Array, last: int) -> bool:
    """Whether the owner, as a rigid body, gives the child's end most of the step that it makes before it stops."""
    assert character.axes is not None
    a, b = int(drawings[last - 1]), int(drawings[last])
    k = character.index[owner]
    path, joint = where(character, PATHS.get(child, child)), character.head(owner)
    turn = character.axes[b, k] @ character.axes[a, k].T
    step = path[b] - path[a]
    carried = turn @ (path[a] - joint[a]) + joint[b] - path[a]
    return bool(step @ carried >= CARRIED * (step @ step))


def _falls(study: Study, character: Character, part: str, at: int) -> str:
    """'ground' where the head stops at sample ``at`` as the figure comes to lie down, or ''."""
    known: Hits = study.of(hits, character)
    away = round(FALLS * study.shot.rate)
    before, soon = max(0, at - away), min(study.shot.count - 1, at + away)
    return "ground" if part == "head" and known.lies_down(before, soon) else ""


def _ran_out(study: Study, character: Character, last: int) -> bool:
    """Whether from sample ``last`` on the figure stands in the pose in which the shot began, and began in motion: a
    cycle that is played once, not a move that was left without an end."""
    least = SAME_POSE * character.leg_length
    hips = character.heads[:, :1]
    pose = character.heads - hips
    stands = np.abs(pose[last:] - pose[0]).max() < least and np.abs(hips[last:] - hips[last]).max() < least
    first = np.linalg.norm(character.heads[1] - character.heads[0], axis=-1).max() * study.shot.rate
    return bool(stands and last < study.shot.count - 1 and first > LEAST_PEAK * character.leg_length)


def _carried(character: Character, parts: tuple[str, ...]) -> list[str]:
    """The hands that the parts carry and that are not among them."""
    sides = [s for s in body.SIDES if character.has(f"hand.{s}") and not {f"hand.{s}", f"forearm.{s}"} & set(parts)]
    return [f"hand.{s}" for s in sides if any(_hangs(f"hand.{s}", part) for part in parts)]


def _carriers(character: Character, parts: tuple[str, ...], last: int, stride: int) -> list[str]:
    """The pelvis where a head or chest came along its own line to a stop at sample ``last``: no turn of its own takes
    it on."""
    for part in ("head", "chest"):
        if part in parts and "pelvis" not in parts and character.has("pelvis"):
            path = where(character, PATHS[part])
            step, line = path[last] - path[last - stride], path[last] - character.head(part)[last]
            if abs(step @ line) > ALONG * np.linalg.norm(step) * np.linalg.norm(line):
                return ["pelvis"]
    return []


def _in_reach(
    character: Character, beyond: dict[str, tuple[Place, ...]], last: int
) -> dict[str, tuple[Place, ...]]:
    """The offsets, those of hands cut short where the arm would come nearer to straight than BENT, or than it is."""
    trunk = np.array(beyond.get("chest", beyond.get("pelvis", ((0.0, 0.0, 0.0),) * len(next(iter(beyond.values()))))))
    out = dict(beyond)
    for side in body.SIDES:
        hand = f"hand.{side}"
        if hand not in beyond or not character.has(*arm_of(hand)):
            continue
        rows = np.minimum(last + np.arange(len(trunk)), len(character.heads) - 1)
        cut = in_reach(character, hand, rows, np.array(beyond[hand]), reached(character, hand, rows), trunk)
        out[hand] = places(cut)
    return out


def _stands(path: Array, last: int, stride: int) -> bool:
    """Whether a path that moved until sample ``last`` stands after it."""
    before, after = (np.linalg.norm(path[b] - path[a])
                     for a, b in ((last - stride, last), (last, min(last + stride, len(path) - 1))))
    return bool(after <= NOTHING * before)


def _beyond(path: Array, last: int, shot: Shot) -> tuple[Place, ...]:
    """World offsets on whole frames from a stop at sample ``last``: none, on past it, and back to none."""
    stretch = max(1, round(shot.rate / 24))
    step = (path[last] - path[last - stretch]) / stretch * (shot.rate / shot.fps)
    frames = max(1, round(shot.fps / 24))
    count = min(len(OVERSHOOT) * frames, int(shot.frames[-1]) - shot.frame(last))
    shares = _shares(np.arange(count + 1) / frames)
    shares[-1] = 0.0
    return places(shares[:, None] * step * frames)


def _shares(at: Array) -> Array:
    """OVERSHOOT at these frames of 24 after the stop (N,), along a smooth curve that leaves it at the last step's
    speed."""
    known = np.array((0.0, *OVERSHOOT))
    slopes = np.gradient(known)
    slopes[0], slopes[-1] = 1.0, 0.0
    k = np.minimum(at.astype(int), len(known) - 2)
    return hermite(known[k], known[k + 1], slopes[k], slopes[k + 1], at - k)


def _evidence(
    study: Study, path: Array, move: tuple[int, int], beyond: tuple[Place, ...], share: float
) -> tuple[Evidence, ...]:
    first, last = move
    after = min(len(path) - 1, last + round(AFTER * study.shot.rate))
    frame = study.shot.frame
    settled = path[last : last + len(beyond)]
    shapes: list[Evidence] = [
        Polyline("found", (frame(first), frame(after)), places(path[first : after + 1]), ticks=True),
        Point("found", (frame(last), frame(last)), places(path[last : last + 1]), "ring"),
        Label("found", (frame(last), frame(last)), places(path[last : last + 1])[0], f"{share:.0f} % to nothing"),
    ]
    drawn = places(settled + np.array(beyond)[: len(settled)])
    shapes.append(
        Polyline("held_against", (frame(last), frame(last + len(settled) - 1)), drawn, ticks=True, dashed=True)
    )
    return tuple(shapes)
