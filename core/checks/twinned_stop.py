# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts that move as one block: same start, same stop, same speed curve."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Evidence, Label, Point, Polyline, places
from ..measures.contacts import Contacts, contacts
from ..measures.exposure import Exposure, exposure
from ..measures.hits import Hits, hits
from ..measures.key_refs import keys_in
from ..measures.moves import RATE, Moves, moves
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity
from ..numeric.moves import Move
from ..remedy import Shift
from ..shot import Character
from ..study import Study

Array = np.ndarray

#: Part -> the part whose move it should follow; depth: frames of 24 by which the remedy lets it come later.
FOLLOWS = {"head": "chest"} | {
    f"{part}.{s}": above
    for s in body.SIDES
    for part, above in (("upper_arm", "chest"), ("forearm", f"upper_arm.{s}"), ("hand", f"forearm.{s}"))
}
DEPTH = {"chest": 0, "head": 1, "upper_arm": 1, "forearm": 2, "hand": 3}
#: Two moves are one where they stop within half a frame of 24, start within one, and their speeds over the move have
#: this cosine. Children stop before and after their parents in nature, but not with the same curve.
STOPS, STARTS, ALIKE = 0.5 / RATE, 1.0 / RATE, 0.98
#: Shorter moves have no curve to compare, seconds.
LEAST_SECONDS = 4 / RATE
#: A foot that lands or a hand that touches within so many seconds stops all.
LANDS = 2 / RATE
#: The parts that a block can have: the chest and what follows it.
WHOLE = 1 + len(FOLLOWS)
#: From so many blocks on, one note says that all parts share their keys.
FOLDED = 5
#: Of a block so many parts are drawn.
DRAWN = 4


@dataclass(frozen=True)
class Block:
    """Moves that are one, by part, the chest's first; alike: the least cosine between linked parts."""

    moves: dict[str, Move]
    alike: float

    @property
    def severity(self) -> Severity | None:
        if "head" not in self.moves:
            return Severity.LOW if len(self.moves) >= 3 else None
        return Severity.HIGH if len(self.moves) >= 5 else Severity.MEDIUM if len(self.moves) >= 3 else Severity.LOW


class TwinnedStop(Check):
    """Chest, head and arms move as one block.

    Seen as: everything arrives on one frame, as a cutout that is slid from pose to pose.
    Measures: the turns of chest, head, upper arms, forearms and hands against their parents: linked parts (head and
    upper arm with the chest, forearm with its upper arm, hand with its forearm) whose moves start within one frame of
    each other, stop within half a frame, and whose speed curves have a cosine over 0.98. The number told is the share
    of these eight parts that the block has, the chest always among them. Moves of at least 4 frames that end in a rest
    of 0.1 s.
    Limit: 25 % (2 of 8 parts: chest and head) low, 37.5 % (3: an arm with them) medium, 62.5 % (5) high. A chest with
    arms alone is low from 3 parts on. Stops that are aligned alone are natural; on captured motion no two parts share
    start, stop and curve. Planted blocks are all found; hand-keyed motion has one low note a minute, a chest with its
    head or arms on the same keys, and none above (docs/corpus_spacing.md).
    Silent when: the shot begins in the move, so that its start is not known; a foot lands or a hand touches something
    within 2 frames of the stop, which stops all; the shot is stepped or on twos, where all parts share their drawings
    (said among what was skipped).
    Cannot see: aligned stops after different starts; blocks without the chest.
    Remedy: offset the parts down the chain, a frame a link. From five blocks in a shot on, one note tells them all.
    """

    lane = "Spacing"
    uses = (moves, exposure, contacts, hits)
    own_needs = Need.JOINTS | Need.ROTATIONS | Need.KEYS
    groups = (("chest",),)
    limit = Limit(2 / WHOLE, 3 / WHOLE, 5 / WHOLE, "1", COMMON_PRACTICE)
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        shown: Exposure = study.of(exposure, character)
        if character.axes is not None and not shown.stepped and shown.step == 1:
            return ""
        why = shown.sentence or "the bones' turns were not read"
        return f"{why}; parts that share their drawings start and stop together"

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        shown: Exposure = study.of(exposure, character)
        if not self.groups_on(character):
            return
        known: Moves = study.of(moves, character)
        found = [b for b in blocks(known, shown) if b.severity and not self._stopped(study, character, known, b)]
        if len(found) < FOLDED:
            for block in found:
                yield self._note_on(study, character, known, [block])
        else:
            found.sort(key=lambda b: (-len(b.moves), b.moves["chest"].last))
            yield self._note_on(study, character, known, found)

    def _stopped(self, study: Study, character: Character, known: Moves, block: Block) -> bool:
        """Whether a landing foot or a touching hand stops all of it."""
        last = int(known.turns.drawings[block.moves["chest"].last])
        slack = round(LANDS * study.shot.rate)
        touch: Contacts = study.of(contacts, character)
        if any(s.first > 0 and abs(s.first - last) <= slack for some in touch.stances.values() for s in some):
            return True
        touching: Hits = study.of(hits, character)
        return any(touching.of(p, last) for p in ("hand.L", "hand.R") if character.has(p))

    def _note_on(self, study: Study, character: Character, known: Moves, found: list[Block]) -> Note:
        block = found[0]
        drawings, frame = known.turns.drawings, study.shot.frame
        first = int(drawings[min(m.first for m in block.moves.values())])
        last = int(drawings[max(m.last for m in block.moves.values())])
        parts = tuple(block.moves)
        severity = block.severity
        assert severity is not None
        text = (
            f"{body.listed(parts).capitalize()} move as one block of {len(parts)} parts: they leave in frame "
            f"{frame(first)} and stop in frame {frame(last)} with the same spacing"
        )
        if len(found) > 1:
            others = ", ".join(str(frame(int(drawings[b.moves["chest"].last]))) for b in found[1:6])
            more = " ..." if len(found) > 6 else ""
            text += f"; so do {len(found)} moves in this shot, all parts share their keys (also {others}{more})"
        scale = max(1, round(study.shot.fps / RATE))
        later = {p: DEPTH[body.base(p)] * scale for p in parts if DEPTH[body.base(p)]}
        if "head" in later and character.has("neck"):
            later = {"neck": later["head"], **later}
        end = min(frame(last) + max(later.values()), frame(study.shot.count - 1))
        return self.note(
            study,
            character,
            "chest",
            (first, last),
            last,
            severity=severity,
            measured=len(parts) / WHOLE,
            text=text,
            remedy=Shift(tuple(later), tuple(later.values()), (frame(first), end)),
            evidence=_evidence(study, character, parts, (first, last)),
            # those under the offset as well: it may move no others
            keys=keys_in(character, parts, float(study.shot.frames[first]), float(end)),
            kind="folded" if len(found) > 1 else "block",
            parts=parts,
        )


def blocks(known: Moves, shown: Exposure) -> list[Block]:
    """The blocks with the chest in them, in order of time."""
    held = {p for p, n in shown.parts.items() if n > 1 or n == -1}
    signal = known.signal("chest")
    if signal is None or "chest" in held:
        return []
    rate = 1.0 / float(np.median(signal.seconds))
    own = {p: [m for m in known.of(p) if m.stops and m.first > 0] for p in ("chest", *FOLLOWS) if p not in held}
    found = []
    for chest in own["chest"]:
        if (chest.last - chest.first) / rate < LEAST_SECONDS - 1e-6:
            continue
        block, least = {"chest": chest}, 1.0
        for part, above in FOLLOWS.items():                 # parents come before children
            if above not in block or part not in own:
                continue
            for move in own[part]:
                alike = _alike(known, (above, block[above]), (part, move), rate)
                if alike > ALIKE:
                    block[part], least = move, min(least, alike)
                    break
        if len(block) > 1:
            found.append(Block(block, least))
    return found


def _alike(known: Moves, a: tuple[str, Move], b: tuple[str, Move], rate: float) -> float:
    """The cosine of two moves' speeds where they start and stop together, else 0."""
    (part_a, one), (part_b, two) = a, b
    frames = RATE if known.stride == 1 else rate / known.stride
    stops, starts = (max(s * rate, s * RATE * rate / frames) for s in (STOPS, STARTS))
    if abs(one.stop - two.stop) > stops + 1e-6 or abs(one.first - two.first) > starts + 1e-6:
        return 0.0
    u, v = known.signal(part_a), known.signal(part_b)
    assert u is not None and v is not None
    rows = slice(min(one.first, two.first), max(one.last, two.last))
    x, y = u.speed[rows], v.speed[rows]
    return float(x @ y / max(1e-12, float(np.sqrt(x @ x) * np.sqrt(y @ y))))


def _evidence(
    study: Study, character: Character, parts: tuple[str, ...], span: tuple[int, int]
) -> tuple[Evidence, ...]:
    first, last = span
    frame = study.shot.frame
    frames = frame(first), frame(last)
    shapes: list[Evidence] = []
    for part in parts[:DRAWN]:
        path = character.end(part)
        shapes.append(Polyline("found", frames, places(path[first : last + 1]), ticks=True))
        shapes.append(Point("found", (frame(last), frame(last)), places(path[last : last + 1]), "ring"))
    shapes.append(
        Label("found", (frame(last), frame(last)), places(character.end("chest")[last : last + 1])[0],
              f"{len(parts)} parts stop in frame {frame(last)}")
    )
    return tuple(shapes)

