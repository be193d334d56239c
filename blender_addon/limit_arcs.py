# SPDX-License-Identifier: GPL-3.0-or-later
"""The angles of the part whose limits are edited, as arcs at its joint: measured anew when the pose has changed.

A timer measures, never drawing and never a handler; it lives only while arcs are shown.
"""

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..core.body import base
from ..core.evidence import Arc, Evidence, Point
from ..core.measures.angles import JointAngle, angles
from ..core.shot import Character
from ..core.study import Study
from ..core.tables.joint_ranges import RANGES
from . import cards, redraw, session, settings
from .operators.card_limits import limit_of
from .sampling.armatures import CannotMeasure
from .sampling.pose import posed_now

#: Seconds between two looks at whether the pose has changed.
_PAUSE = 0.15
#: Radius of an arc over the length of the part.
_RADIUS = 0.45


@dataclass(frozen=True)
class Shown:
    """What is drawn: shapes in world meters, and the angles in degrees by name. scene: session_uid."""

    scene: int
    part: str
    shapes: tuple[Evidence, ...]
    degrees: dict[str, float]


_now: Shown | None = None
#: True when the pose or the card may have changed since the arcs were measured.
stale = True


def shapes(scene: Any) -> tuple[Evidence, ...]:
    """The arcs to draw in this scene."""
    return _now.shapes if _now is not None and _now.scene == scene.session_uid else ()


def degrees(scene: Any, part: str, angle: str) -> float | None:
    """An angle of the part that is edited, in the pose as it stands; None while no arcs are shown."""
    if _now is None or _now.scene != scene.session_uid or _now.part != part:
        return None
    return _now.degrees.get(angle)


def follow() -> None:
    """Starts to follow the pose, or stops where no arcs are shown."""
    global stale
    stale = True
    if not bpy.app.timers.is_registered(_tick):
        bpy.app.timers.register(_tick, first_interval=0.0)


def stop() -> None:
    """Lets go of the arcs and of the timer."""
    global _now
    _now = None
    if bpy.app.timers.is_registered(_tick):
        bpy.app.timers.unregister(_tick)


def _tick() -> float | None:
    global _now, stale
    context: Any = bpy.context
    here = settings.state(context)
    scene = context.scene
    if not here.show_arcs or scene is None:
        _now = None
        redraw.views()
        return None
    if stale and session.job is None and not (context.screen is not None and context.screen.is_animation_playing):
        stale = False
        _now = measured(context, here.limit_part)
        redraw.views()
        redraw.panels()
    return _PAUSE


def measured(context: Any, part: str) -> Shown | None:
    """The arcs of a part in the pose as it stands; None where there is none."""
    character = cards.shown_character(context)
    if character is None:
        return None
    try:
        shot = posed_now(context.scene, context.evaluated_depsgraph_get(), [character.name])
    except CannotMeasure:
        return None
    posed = shot.characters[0] if shot.characters else None
    if posed is None or part not in posed.index:
        return None
    card, _ = cards.shown_card(context, character)
    found = Study(shot).of(angles, posed)
    out: list[Evidence] = []
    known: dict[str, float] = {}
    for k, row in enumerate(r for r in RANGES if r.part == base(part)):
        angle = found.get((row.name, part))
        own = limit_of(card, row, part)
        most = own if own is not None else row.most
        if angle is not None and np.isfinite(angle.degrees[0]):
            known[row.name] = float(angle.degrees[0])
            out += _arcs(posed, part, angle, most, k, int(shot.frames[0]))
    return Shown(context.scene.session_uid, part, tuple(out), known)


def _arcs(posed: Character, part: str, angle: JointAngle, most: float | None, k: int, frame: int) -> list[Evidence]:
    """One angle: how far it goes in this pose, and up to where it may."""
    size = float(np.linalg.norm(posed.end(part)[0] - posed.head(part)[0]))
    centre, axis, zero = (_place(v) for v in (posed.head(part)[0], angle.axis[0], angle.zero[0]))
    span = (frame, frame)
    radius = size * (_RADIUS + 0.08 * k)
    out: list[Evidence] = []
    if most is not None:
        out.append(Arc("held_against", span, centre, axis, zero, float(most), radius))
    degrees = float(angle.degrees[0])
    if degrees > 0.5:
        out.append(Arc("found", span, centre, axis, zero, degrees, radius))
    return [*out, Point("found", span, (centre,))]


def _place(v: np.ndarray) -> tuple[float, float, float]:
    return float(v[0]), float(v[1]), float(v[2])
