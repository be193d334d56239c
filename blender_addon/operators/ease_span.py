# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of an even move, carried out on its keys: the same poses, slow at the ends that the note names."""

from typing import Any

import bpy
import numpy as np

from ...core.note import Note
from ...core.numeric.ease import eased_time, end_speeds
from ...core.remedy import Ease
from .. import mending, session
from ..keyed_curves import Found, found_keys
from ..translation import rpt_
from .refusing import Refusing
from .step_notes import active_note

#: Frames between keys under which no handle makes a move soft.
SHORT = 3


def refusal(context: Any) -> str:
    """Why the active note's move cannot be eased, or ''."""
    why = mending.refusal(context, Ease, rpt_("Choose a note on an even move"))
    note, _ = active_note(context)
    if why:
        return why
    if note is not None and note.keys:
        return ""
    return rpt_("The move is baked or comes from elsewhere: no key of it can be eased")


class PLUMBLINE_OT_ease_span(Refusing, bpy.types.Operator):
    """Ease the ends of the even move on the keys that the note names, then check again"""

    bl_idname = "plumbline.ease_span"
    bl_label = "Ease Move"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    def execute(self, context: Any) -> Any:
        note, _ = active_note(context)
        if note is None or not isinstance(note.remedy, Ease):
            return {"CANCELLED"}
        found = found_keys(note, context.scene)
        if not found:
            self.report({"WARNING"}, "The keys are no longer there; check the shot again")
            return {"CANCELLED"}
        if all(item.linked for item in found):
            self.report({"WARNING"}, "The keys are linked: make a library override of the action first")
            return {"CANCELLED"}
        for item in found:
            if not item.linked:
                ease(item, note.remedy)
        context.view_layer.update()
        _again(context, note)
        return {"FINISHED"}


def ease(item: Found, remedy: Ease) -> None:
    """Eases one curve between the first and the last of the keys found on it; keys between move along the eased
    move."""
    curve, (first, last) = item.curve, (min(item.points), max(item.points))
    points = curve.keyframe_points
    if first == last:
        return
    start, end = points[first].co.copy(), points[last].co.copy()
    length, height = end.x - start.x, end.y - start.y
    if length < 2 or abs(height) < 1e-9:
        return
    entering, leaving = _speeds(curve, start.x, end.x, height, remedy)
    count = 64
    warped = eased_time(count, entering, leaving) / count
    places = [(k, (points[k].co.x - start.x) / length) for k in range(first + 1, last)]
    for k, share in places:
        points[k].co.y = start.y + height * float(np.interp(share, np.linspace(0, 1, count + 1), warped))
    rows = range(first, last)
    for k in rows:
        left, right = points[k], points[k + 1]
        third = (right.co.x - left.co.x) / 3
        left.interpolation = "BEZIER"
        left.handle_right_type = "FREE" if k == first else "ALIGNED"
        right.handle_left_type = "FREE" if k + 1 == last else "ALIGNED"
        at = [(p.co.x - start.x) / length for p in (left, right)]
        slope = [_slope(s, entering, leaving) * height / length for s in at]
        left.handle_right = (left.co.x + third, left.co.y + slope[0] * third)
        right.handle_left = (right.co.x - third, right.co.y - slope[1] * third)
    if remedy.ease_out and last + 1 < len(points):
        _set_out(points[last], points[last + 1], height, 1)
    if remedy.ease_in and first > 0:
        _set_out(points[first], points[first - 1], height, -1)
    curve.update()


def _set_out(key: Any, beyond: Any, height: float, way: int) -> None:
    """Where the curve turns back at the eased move's end, what is beyond it sets out from that, or comes to it, as
    softly: a flat handle. way: 1 after the move, -1 before it."""
    curved = (key if way > 0 else beyond).interpolation == "BEZIER"
    if not curved or abs(beyond.co.x - key.co.x) < SHORT or (beyond.co.y - key.co.y) * way * height >= 0:
        return
    side = "handle_right" if way > 0 else "handle_left"
    setattr(key, f"{side}_type", "FREE")
    setattr(key, side, ((2 * key.co.x + beyond.co.x) / 3, key.co.y))


def _slope(share: float, entering: float, leaving: float) -> float:
    """Speed at a share of the move, over its mean: the derivative of ``eased_time``."""
    s = share
    return float(6 * s * (1 - s) + entering * (1 - s) * (1 - 3 * s) - leaving * s * (2 - 3 * s))


def _speeds(curve: Any, start: float, end: float, height: float, remedy: Ease) -> tuple[float, float]:
    """End speeds of this curve's move over its mean: those of what comes before and after, as the remedy asks."""
    frames = [start - 1, *np.linspace(start, end, round(end - start) + 1), end + 1]
    values = np.array([curve.evaluate(float(f)) for f in frames])
    values[1:-1] = np.interp(np.linspace(0, 1, len(values) - 2), [0, 1], [values[1], values[1] + height])
    steps = np.zeros((len(values) - 1, 3))
    steps[:, 0] = np.diff(values)
    return end_speeds(steps, 1, len(steps) - 1, remedy.ease_in, remedy.ease_out)


def _again(context: Any, note: Note) -> None:
    session.mark_edited(context.scene.session_uid, note.character)
    mending.check_again(context, note)
