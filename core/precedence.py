# SPDX-License-Identifier: GPL-3.0-or-later
"""One fault, one note: which check owns what several of them see.

The first rule below that fits decides. The note that gives way is named with its number in the text of the one that
stays, which takes the greater severity of the two. Rules 1 to 6 look within one limb, 7 to 11 at a part and what hangs
from it; all reach two frames of 24 beyond a note's own.

1. A reversed knee or elbow (``joint-limit`` hyperextension) owns the limb's ``overextension`` and ``pop``: a joint that
   is bent backward has crossed straight twice. The pop is that crossing, no fault beside it, so the severity stays.
2. ``overextension`` by stretch or by a goal out of reach owns the same limb's flat joint and ``pop``, the ``slip`` of
   a foot that it pulls along, its ``ground-gap`` where it pulls the foot off the ground, its ``late-roll``, and what
   breaks the path of the limb's end (``dead-stop``, ``jitter``, ``uneven-spacing``, ``arc-break``).
3. A ``pop``, as a reversed joint, owns what breaks the path of the limb's end, and of nothing else with it. A pop above
   low owns the flat joint; a low one, by which a chain comes to its length or leaves it, is owned by the joint that
   stays flat there, and so is the frame at which that jerks the limb's end: then it may be more than low. Else a low
   pop owns only what is low: a frame that breaks the end's path above low has made the joint snap.
4. A note on the proximal part of a limb owns the ``joint-limit`` of its end where that end is held by a contact: with a
   foot planted under a reversed knee, the ankle's angle is the consequence. A joint that is flat and nothing else owns
   only what is low: it is never more than low itself.
5. A foot that floats over its ground (``ground-gap``) owns that foot's ``slip``: what hangs is not held. A foot that
   stands thinly (``thin-support``) owns the body that is ``off-balance`` over it: so little of it is under the body.
   A body ``off-balance`` or an ``undriven-move`` owns the ``joint-limit`` of a foot that is held by a contact and that
   is past its range only meanwhile: the ankle's angle is that of the body over it; a body ``off-balance`` owns the low
   ``slip`` of a foot that it drags along only meanwhile, too. The ``joint-limit`` of a thigh or an upper arm owns the
   ``undriven-move`` that lasts no longer: what throws the limb so far out needs that push; or, in the air, the flight
   that is low (``airborne``): it takes the body along.
6. A ``slip`` owns what breaks the foot's path, and the ``undriven-move`` that lasts no longer and is no worse: a
   foot that slides takes from under the body what would drive it, or the whole body along.
7. ``linear-span`` owns the corners at its two ends: what breaks the path of a part that it moves. One seen through
   noise owns only what is low: it is never more than low itself.
8. ``stuck-in-space`` owns what breaks the head's path in its catch-up, and the head's ``frozen-part``.
   ``frozen-part`` owns what breaks the path of what it holds, and of nothing else with it, where that freezes, and what
   is low until 0.4 s after it, with the low ``frozen-part`` of what it then carries: what comes loose is behind and
   hurries to where it is due. What is worse there the drift that mends the freeze would leave, so it is told.
9. ``jitter`` owns the ``uneven-spacing`` and ``arc-break`` of what it moves, inside its run, and the low ``dead-stop``
   with which it ends, but no frame that is farther off than its wiggle explains: that one owns the jitter that is low,
   its own echo.
10. A ``hard-landing`` owns what breaks the path of any part that stops or leaves with the body; ``airborne`` the
    ``dead-stop`` of hips that float, the low ``frozen-part`` of a flight that is played too slowly, and the low
    ``hard-landing`` of a body that was pulled down.
11. A ``dead-stop`` owns ``uneven-spacing`` and ``arc-break`` over the frame of the stop, and where the hips stop the
    push that it needs there (``undriven-move``, ``off-balance``). A block (``twinned-stop``) owns the ``dead-stop`` of
    two or more of its parts, the ``undriven-move`` that lasts no longer and is no worse, for so much that goes at once
    needs that push, and the low ``frozen-part`` of what rides on it; a ``dead-stop`` of one part owns the low block.
12. Both sides of one joint over the same frames are one note that lists both parts.

A note on trial decides nothing: it owns only notes on trial, and leaves the severity of any other as it was.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from . import body
from .amounts import frames
from .note import Note, Severity
from .overlaps import (
    LIMB_OF,
    carried,
    during,
    held,
    moves,
    near,
    off,
    on_limb,
    same_frames,
    several,
    slack,
    together,
    within,
)
from .study import Study

#: A wiggle puts each drawing off the cubic through its neighbors by 16/6 of what it goes to each side, and looks like a
#: corner there that is off by a third more.
EXPLAINED = 4.0
#: Within so long a part that was held has caught up with the body.
CATCH_UP_SECONDS = 0.4
#: Blocks move at about 1 leg/s, and frozen is what is carried at 0.25 on average: so long a share of a freeze must a
#: block be to have carried it by itself.
CARRIED = 0.25
#: Checks whose notes may have a twin on the other side, and those that judge a path frame by frame.
_JOINTS = ("joint-limit", "overextension")
TWINNED = (*_JOINTS, "pop")
_BREAKS = ("uneven-spacing", "arc-break")
_PATHS = ("dead-stop", "jitter", *_BREAKS)


@dataclass(frozen=True)
class Rule:
    """Notes of the checks ``owners`` own those of ``others`` on the same character where ``fits`` says so. raises:
    whether they take the greater severity."""

    owners: tuple[str, ...]
    others: tuple[str, ...]
    fits: Callable[[Study, Note, Note], bool]
    raises: bool = True


def settle(study: Study, notes: list[Note]) -> list[Note]:
    """The notes that stay, those that gave way named in their text."""
    for rule in RULES:
        notes = _absorbed(study, notes, rule)
    return _both_sides(study, notes)


# ---- the rules ---------------------------------------------------------------------------------------------


def _reversed_owns_straight(study: Study, owner: Note, other: Note) -> bool:
    return owner.kind == "hyperextension" and on_limb(owner, other) and near(study, owner, other)


def _pulled_owns_what_it_pulls(study: Study, owner: Note, other: Note) -> bool:
    if owner.kind not in ("stretch", "gap") or other.kind not in _PULLED.get(other.check, (other.kind,)):
        return False
    return on_limb(owner, other) and near(study, owner, other)


#: Of these checks a pulled limb owns only what is of such a kind.
_PULLED = {"overextension": ("flat",), "ground-gap": ("over",)}


def _flat_owns_pull(study: Study, owner: Note, other: Note) -> bool:
    pulled = owner.kind == "flat" and other.severity == Severity.LOW
    return pulled and on_limb(owner, other) and near(study, owner, other)


def _snap_owns_flat(study: Study, owner: Note, other: Note) -> bool:
    snapped = owner.severity != Severity.LOW and other.kind == "flat"
    return snapped and on_limb(owner, other) and near(study, owner, other)


def _limb_owns_path(study: Study, owner: Note, other: Note) -> bool:
    if owner.check == "pop" and other.check in _BREAKS and owner.severity == Severity.LOW != other.severity:
        return False
    strained = owner.check not in _JOINTS or owner.kind in ("hyperextension", "stretch", "gap")
    # what another limb or the trunk does with it is no consequence of this limb
    alone = all(LIMB_OF.get(part) == LIMB_OF.get(owner.part) for part in other.parts)
    return strained and alone and on_limb(owner, other) and near(study, owner, other)


def _break_owns_snap(study: Study, owner: Note, other: Note) -> bool:
    snapped = owner.severity != Severity.LOW and other.severity == Severity.LOW
    return snapped and on_limb(owner, other) and near(study, owner, other)


def _flat_owns_jerk(study: Study, owner: Note, other: Note) -> bool:
    alone = all(LIMB_OF.get(part) == LIMB_OF.get(owner.part) for part in other.parts)
    ends = min(abs(other.worst - end) for end in (owner.start, owner.end))
    return owner.kind == "flat" and alone and on_limb(owner, other) and ends <= slack(study)


def _proximal_owns_held_end(study: Study, owner: Note, other: Note) -> bool:
    limb = LIMB_OF.get(owner.part)
    if limb is None or other.part != body.LIMBS[limb][2] or owner.part == other.part:
        return False
    if owner.kind == "flat" and other.severity != Severity.LOW:
        return False
    return near(study, owner, other) and held(study, other)


def _floating_owns_slip(study: Study, owner: Note, other: Note) -> bool:
    return owner.kind == "over" and on_limb(owner, other) and near(study, owner, other)


def _thin_owns_what_leans(study: Study, owner: Note, other: Note) -> bool:
    return during(study, other.worst, owner)


def _leaning_owns_held_ankle(study: Study, owner: Note, other: Note) -> bool:
    return within(study, other, owner) and held(study, other)


def _leaning_owns_dragged_foot(study: Study, owner: Note, other: Note) -> bool:
    return other.severity == Severity.LOW and within(study, other, owner)


def _thrown_limb_owns_push(study: Study, owner: Note, other: Note) -> bool:
    return body.base(owner.part) in ("thigh", "upper_arm") and within(study, other, owner)


def _thrown_limb_owns_flight(study: Study, owner: Note, other: Note) -> bool:
    return other.severity == Severity.LOW and _thrown_limb_owns_push(study, owner, other)


def _sudden_owns_push(study: Study, owner: Note, other: Note) -> bool:
    return owner.severity.rank >= other.severity.rank and within(study, other, owner)


def _march_owns_corners(study: Study, owner: Note, other: Note) -> bool:
    if owner.kind == "noisy" and other.severity != Severity.LOW:
        return False
    return moves(owner, other) and any(during(study, end, other) for end in (owner.start, owner.end))


def _run_owns_what_it_moves(study: Study, owner: Note, other: Note) -> bool:
    return moves(owner, other) and during(study, other.worst, owner)


def _freeze_owns_its_ends(study: Study, owner: Note, other: Note) -> bool:
    begins = other.check in _PATHS and abs(other.worst - owner.start) <= slack(study)
    late = round(CATCH_UP_SECONDS * study.shot.fps)
    loose = other.severity == Severity.LOW and owner.end - slack(study) <= other.worst <= owner.end + late
    return (begins or loose) and all(carried(owner, part) for part in other.parts)


def _wiggle_owns_breaks(study: Study, owner: Note, other: Note) -> bool:
    return _run_owns_what_it_moves(study, owner, other) and off(study, other) <= EXPLAINED * owner.measured


def _break_owns_echo(study: Study, owner: Note, other: Note) -> bool:
    unexplained = other.severity == Severity.LOW and off(study, owner) > EXPLAINED * other.measured
    return unexplained and (moves(owner, other) or moves(other, owner)) and during(study, owner.worst, other)


def _wiggle_owns_its_stop(study: Study, owner: Note, other: Note) -> bool:
    ends = abs(other.worst - owner.end) <= slack(study)
    return other.severity == Severity.LOW and ends and all(carried(owner, part) for part in other.parts)


def _slow_flight_owns_stiffness(study: Study, owner: Note, other: Note) -> bool:
    return owner.kind == "floats" and other.severity == Severity.LOW and same_frames(owner, other)


def _pulled_flight_owns_landing(study: Study, owner: Note, other: Note) -> bool:
    pulled = owner.kind == "drops" and other.kind == "landing" and other.severity == Severity.LOW
    return pulled and abs(other.start - owner.end) <= slack(study)


def _flight_owns_its_stop(study: Study, owner: Note, other: Note) -> bool:
    return owner.part == other.part and during(study, other.worst, owner)


def _stop_owns_breaks(study: Study, owner: Note, other: Note) -> bool:
    return moves(owner, other) and during(study, owner.worst, other)


def _block_owns_stops(study: Study, owner: Note, other: Note) -> bool:
    return several(owner, other) and together(study, owner, other)


def _block_owns_what_rides(study: Study, owner: Note, other: Note) -> bool:
    long = owner.end - owner.start >= CARRIED * (other.end - other.start)
    return other.severity == Severity.LOW and long and moves(owner, other) and within(study, owner, other)


def _stop_owns_low_block(study: Study, owner: Note, other: Note) -> bool:
    return other.severity == Severity.LOW and moves(other, owner) and together(study, owner, other)


RULES = (
    Rule(("joint-limit",), ("overextension",), _reversed_owns_straight),
    Rule(("joint-limit",), ("pop",), _reversed_owns_straight, raises=False),
    Rule(("overextension",), ("overextension", "pop", "slip", "ground-gap", "late-roll"), _pulled_owns_what_it_pulls),
    Rule(("pop",), ("overextension",), _snap_owns_flat),
    Rule((*TWINNED, "slip"), _PATHS, _limb_owns_path),
    Rule(_BREAKS, ("pop",), _break_owns_snap),
    Rule(("overextension",), ("pop",), _flat_owns_pull),
    Rule(("overextension",), _BREAKS, _flat_owns_jerk),
    Rule(_JOINTS, ("joint-limit",), _proximal_owns_held_end),
    Rule(("ground-gap",), ("slip",), _floating_owns_slip),
    Rule(("thin-support",), ("off-balance",), _thin_owns_what_leans),
    Rule(("off-balance", "undriven-move"), ("joint-limit",), _leaning_owns_held_ankle),
    Rule(("joint-limit",), ("undriven-move",), _thrown_limb_owns_push),
    Rule(("airborne",), ("hard-landing",), _pulled_flight_owns_landing),
    Rule(("joint-limit",), ("airborne",), _thrown_limb_owns_flight),
    Rule(("slip", "twinned-stop"), ("undriven-move",), _sudden_owns_push),
    Rule(("off-balance",), ("slip",), _leaning_owns_dragged_foot),
    Rule(("linear-span",), _PATHS, _march_owns_corners),
    Rule(("stuck-in-space",), (*_PATHS, "frozen-part"), _run_owns_what_it_moves),
    Rule(("frozen-part",), (*_PATHS, "frozen-part"), _freeze_owns_its_ends),
    Rule(_BREAKS, ("jitter",), _break_owns_echo),
    Rule(("jitter",), _BREAKS, _wiggle_owns_breaks),
    Rule(("jitter",), ("dead-stop",), _wiggle_owns_its_stop),
    Rule(("hard-landing",), _PATHS, _run_owns_what_it_moves),
    Rule(("airborne",), ("dead-stop",), _flight_owns_its_stop),
    Rule(("airborne",), ("frozen-part",), _slow_flight_owns_stiffness),
    Rule(("dead-stop",), (*_BREAKS, "undriven-move", "off-balance"), _stop_owns_breaks),
    Rule(("twinned-stop",), ("dead-stop",), _block_owns_stops),
    Rule(("twinned-stop",), ("frozen-part",), _block_owns_what_rides),
    Rule(("dead-stop",), ("twinned-stop",), _stop_owns_low_block),
)


# ---- giving way --------------------------------------------------------------------------------------------


def _absorbed(study: Study, notes: list[Note], rule: Rule) -> list[Note]:
    gone: set[int] = set()
    named: dict[int, list[Note]] = {}
    others: dict[str, list[int]] = {}
    for i, note in enumerate(notes):
        if note.check in rule.others:
            others.setdefault(note.character, []).append(i)
    for i, owner in enumerate(notes):
        if owner.check not in rule.owners or i in gone:
            continue
        for k in others.get(owner.character, ()):
            other = notes[k]
            if k == i or k in gone or owner.trial and not other.trial:
                continue
            if rule.fits(study, owner, other):
                gone.add(k)
                named.setdefault(i, []).append(other)
    return [_naming(note, named.get(i, []), rule.raises) for i, note in enumerate(notes) if i not in gone]


def _naming(owner: Note, others: list[Note], raises: bool) -> Note:
    for other in others:
        decides = raises and (owner.trial or not other.trial)
        severity = max(owner.severity, other.severity, key=lambda s: s.rank) if decides else owner.severity
        owner = replace(owner, text=f"{owner.text}; with it {_short(other)}", severity=severity)
    return owner


def _short(note: Note) -> str:
    return f"{note.check} of the {body.spoken(note.part)}, {_amount(note)}, {frames(note.start, note.end)}"


# ---- both sides --------------------------------------------------------------------------------------------


def _both_sides(study: Study, notes: list[Note]) -> list[Note]:
    kept: list[Note] = []
    for note in sorted(notes, key=lambda n: -n.severity.rank):
        twin = next((k for k in kept if _twins(study, k, note)), None) if note.check in TWINNED else None
        if twin is None:
            kept.append(note)
        else:
            place = kept.index(twin)
            kept[place] = replace(
                twin,
                parts=(*twin.parts, *note.parts),
                text=f"{twin.text}; the {body.spoken(note.part)} too, {_amount(note)}",
            )
    return kept


def _amount(note: Note) -> str:
    return {
        "deg": f"{note.measured:.0f} degrees",
        "1": f"{note.measured * 100:.1f} percent",
        "m": f"{note.measured * 100:.1f} cm",
    }.get(note.unit, f"{note.measured:.3g} {note.unit}")


def _twins(study: Study, a: Note, b: Note) -> bool:
    if a.check not in TWINNED or (a.check, a.kind, a.character) != (b.check, b.kind, b.character):
        return False
    if b.part != body.mirror(a.part) or b.part == a.part or b.part in a.parts:
        return False
    return same_frames(a, b)
