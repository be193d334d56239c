# SPDX-License-Identifier: GPL-3.0-or-later
"""Spans in which the pressure point is held outside of the base of support, told apart by whether the body accelerates
meanwhile."""
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .. import body
from ..evidence import Evidence, Patch, Point, Polyline, places
from ..need import NOTHING
from ..note import COMMON_PRACTICE, KeyReference, Limit, Severity
from ..numeric.between import straight
from ..numeric.spans import beyond, samples
from ..remedy import Balance
from ..shot import Character
from ..study import Study, measure
from .key_refs import keys_in
from .mass import masses, no_more_than
from .mass_motion import MassMotion, mass_motion
from .pelvis_path import mended_path, reaching, taken_along
from .support import Base, base

Array = np.ndarray

#: Of the leg. What is held for 0.12 s decides; captured walks, turns, fights and jumps stay under 0.03, steps over
#: ground that the scene does not show at 0.10, hand-keyed poses that are thrown from one to the next at 0.13, dances
#: that skate go far over it. tests/corpus/weight_choice.py tells what the clips that are not held back would take.
LIMIT = Limit(0.10, 0.15, 0.25, "m", COMMON_PRACTICE)
#: Of the leg: a pressure point that lies no farther from under the center of mass is that of a body that stands.
STANDS = 0.10
GAP = 0.2           # s: spans nearer than this are one
CARRIED = 0.85      # of what the hips move, the center of mass does: feet stay and knees go half as far


@dataclass(frozen=True)
class Outside:
    """One span. first, last, worst: samples; size m: the largest excess; held m: the largest that is held; leans: the
    body hardly accelerates meanwhile; away (2,) m from the pressure point to the base at the worst sample, in the
    level plane."""
    first: int
    last: int
    worst: int
    size: float
    held: float
    leans: bool
    away: Array


@measure(NOTHING, uses=(base, mass_motion))
def outsides(study: Study, character: Character) -> tuple[Outside, ...]:
    """Every span in which the excess is held over the low limit, in time order."""
    found: Base | None = study.of(base, character)
    if found is None:
        return ()
    leg = character.leg_length
    far = np.hypot(*(found.point - found.center).T)
    out = []
    for first, last in beyond(found.held, LIMIT.low * leg, 0.5 * LIMIT.low * leg, samples(GAP, study.shot.rate)):
        rows = np.arange(first, last + 1)
        excess = np.where(np.isnan(found.excess[rows]), -np.inf, found.excess[rows])
        worst = int(rows[int(excess.argmax())])
        leans = float(np.median(far[rows][found.known[rows]])) < STANDS * leg
        out.append(Outside(first, last, worst, float(excess.max()), float(found.held[rows].max()), leans,
                           found.away[worst]))
    return tuple(out)


@dataclass(frozen=True)
class Finding:
    """What a note says of a span: severity; measured and limit m in the figure's real size; frames; what mends it; what
    is drawn; the keys behind what the remedy moves."""
    span: Outside
    severity: Severity
    measured: float
    limit: float
    frames: tuple[int, int]
    remedy: Balance
    evidence: tuple[Evidence, ...]
    keys: tuple[KeyReference, ...]


def findings(study: Study, character: Character, leans: bool, moved: float = 1.0) -> Iterator[Finding]:
    """The spans in which the body leans, or those in which it moves, that pass the limit by what is held; ``moved``: by
    what a preset moves that."""
    size = character.real_size
    limit = LIMIT.scaled(character.leg_length * size * moved)
    for span in study.of(outsides, character):
        severity = limit.severity(span.held * size)
        if span.leans is leans and severity is not None:
            severity = no_more_than(study.of(masses, character), severity)
            move, rows, path = remedy(study, character, span)
            frames = (study.shot.frame(span.first), study.shot.frame(span.last))
            goals = {goal.part for goal in character.goals}
            keys = keys_in(character, ("pelvis", *(part for part in move.along if part in goals)),
                           *map(float, move.frames))
            yield Finding(span, severity, span.size * size, limit.step(severity), frames, move,
                          evidence(study, character, span, rows, path), keys)


def remedy(study: Study, character: Character, span: Outside) -> tuple[Balance, Array, Array]:
    """The hips' way back, and samples (W,) with the path (W, 3) m of the center of mass that it leads to."""
    shot = study.shot
    found: Base = study.of(base, character)
    moved: MassMotion = study.of(mass_motion, character)
    rows, change = mended_path(study, character, found, (span.first, span.last))
    first, last = shot.frame(int(rows[0])), shot.frame(int(rows[-1]))
    whole = np.arange(first, last + 1, dtype=float)
    path = reaching(study, character, rows, change / CARRIED, rises=span.leans)
    hips = straight(path, shot.frames[rows], whole)
    most = hips[int((hips**2).sum(1).argmax())]
    row = int(rows[int((change**2).sum(1).argmax())])
    offsets = places(hips)
    move = Balance("pelvis", (first, last), offsets, toward(character, most, row),
                   taken_along(study, character, rows, path))
    return move, rows, moved.fitted[rows] + CARRIED * path


def toward(character: Character, way: Array, row: int) -> str:
    """A direction in the figure's own words, by where its pelvis faces at that sample."""
    ahead = character.forward
    if character.has("pelvis") and character.axes is not None:
        i = character.index["pelvis"]
        ahead = character.axes[row, i] @ character.rest_axes[i].T @ character.forward
    up = character.up
    ahead = ahead - ahead @ up * up
    size = float(np.linalg.norm(ahead))
    if size < 1e-6:
        return ""
    forward, left = float(way @ ahead) / size, float(way @ np.cross(up, ahead)) / size
    words = []
    if abs(forward) > 0.4 * abs(left):
        words.append("forward" if forward > 0 else "back")
    if abs(left) > 0.4 * abs(forward):
        words.append("to its left" if left > 0 else "to its right")
    if way @ up > 0.4 * np.hypot(forward, left):
        words.append("up")
    return body.in_a_row(words) + " at most" if words else ""


def evidence(study: Study, character: Character, span: Outside, rows: Array, path: Array) -> tuple[Evidence, ...]:
    """The base and the plumb line at the worst frame, the center of mass and the pressure point on every frame of the
    span, the point's trail, and the mended path of the center."""
    shot = study.shot
    found: Base = study.of(base, character)
    moved: MassMotion = study.of(mass_motion, character)
    frames = (shot.frame(span.first), shot.frame(span.last))
    at = np.array([span.worst])
    corners = found.corners[span.worst][found.there[span.worst]]
    center = moved.fitted[span.worst]
    trail = np.array([i for i in range(span.first, span.last + 1) if found.known[i]])
    mended = path[(rows >= span.first) & (rows <= span.last)]
    whole = np.arange(frames[0], frames[1] + 1, dtype=float)
    at_frames = np.interp(whole, shot.frames, np.arange(shot.count))
    outline = found.place(_hull(corners), np.repeat(at, len(_hull(corners))))
    foot = found.place(found.center[at], at)
    points = found.place(found.point[trail], trail)
    return (Patch("held_against", frames, places(outline)),
            Polyline("held_against", frames, places(mended), dashed=True),
            Point("found", frames, places(straight(moved.fitted, np.arange(shot.count), at_frames)), "mass"),
            Polyline("found", frames, places(np.stack([center, foot[0]]))),
            Polyline("found", frames, places(points)),
            Point("found", frames, places(straight(points, trail, at_frames)), "ring"))


def _hull(points: Array) -> Array:
    """The corners of the hull of points (N, 2), walked round."""
    order = points[np.lexsort((points[:, 1], points[:, 0]))]

    def half(row: Array) -> list[Array]:
        out: list[Array] = []
        for p in row:
            while len(out) > 1 and _turn(out[-2], out[-1], p) <= 0:
                out.pop()
            out.append(p)
        return out[:-1]

    walked = half(order) + half(order[::-1])
    return np.array(walked) if walked else points[:1]


def _turn(a: Array, b: Array, c: Array) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))
