# SPDX-License-Identifier: GPL-3.0-or-later
"""Selecting the keys that a note names, so that the dope sheet and the graph editor show them."""

from collections.abc import Iterable
from typing import Any

import bpy

from ...core.note import Note
from .. import compat
from ..keyed_curves import Found, found_keys
from ..translation import rpt_
from .refusing import Refusing
from .step_notes import active_note


def refusal(context: Any) -> str:
    """Why no keys can be selected, or ''."""
    note, why = active_note(context)
    if note is None or note.keys:
        return why
    return rpt_("This note names no keys: it shows in the motion alone")


class PLUMBLINE_OT_select_keys(Refusing, bpy.types.Operator):
    """Select the keys that the note names, and the bones that they lie on, and no others"""

    bl_idname = "plumbline.select_keys"
    bl_label = "Select Keys"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    def execute(self, context: Any) -> Any:
        note, _ = active_note(context)
        found = found_keys(note, context.scene) if note is not None else []
        if note is None or not found:
            self.report({"WARNING"}, "The keys are no longer there; check the shot again")
            return {"CANCELLED"}
        count = select(found, context.scene.objects)
        _select_owners(context, found)
        wanted = named(note)
        if count < wanted:
            self.report({"INFO"}, rpt_("{:d} of {:d} keys are still there").format(count, wanted))
        else:
            said = rpt_("1 key") if count == 1 else rpt_("{:d} keys").format(count)
            self.report({"INFO"}, said)
        return {"FINISHED"}


def named(note: Note) -> int:
    """How many keys a note names."""
    return sum(len(key.frames) for key in note.keys)


def select(found: list[Found], others: Iterable[Any]) -> int:
    """Selects these keys and no other of their objects or of the ``others``; returns how many."""
    for thing in dict.fromkeys([*others, *(item.object for item in found)]):
        for curve, _ in compat.curves_of(thing):
            points = curve.keyframe_points
            for name in ("select_control_point", "select_left_handle", "select_right_handle"):
                points.foreach_set(name, [False] * len(points))
            curve.select = False
    count = 0
    for item in found:
        item.curve.select = True
        for k in item.points:
            point = item.curve.keyframe_points[k]
            point.select_control_point = point.select_left_handle = point.select_right_handle = True
            count += 1
    return count


def _select_owners(context: Any, found: list[Found]) -> None:
    """The editors show the keys of what is selected: in pose mode the bones, else the objects."""
    layer = context.view_layer
    if context.mode == "POSE":
        for other in context.selected_pose_bones or ():
            compat.select_bone(other, False)
    elif context.mode == "OBJECT":
        for other in context.selected_objects:
            other.select_set(False)
    for item in found:
        if context.mode == "POSE" and item.object.mode == "POSE":
            bone = item.object.pose.bones.get(item.bone)
            if bone is not None:
                compat.select_bone(bone, compat.bone_is_visible(bone))
        elif context.mode == "OBJECT" and item.object.name in layer.objects and item.object.visible_get():
            item.object.select_set(True)
            layer.objects.active = item.object
            bone = item.object.pose.bones.get(item.bone) if item.object.pose is not None else None
            if bone is not None:  # what the dope sheet shows in object mode hangs on the bones' own selection
                compat.select_bone(bone, True)
