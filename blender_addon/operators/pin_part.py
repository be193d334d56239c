# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a slipping foot, carried out on the control that drives it: as few keys as hold it where it belongs."""

from typing import Any

import bpy
import numpy as np

from ...core.body import spoken
from ...core.note import Note
from ...core.remedy import Pin
from .. import mending, session
from ..control_moves import FOLLOWS, Control, key, location_curves, shift
from ..places import place_of
from ..translation import rpt_
from .pin_body import pin_body
from .refusing import Refusing
from .step_notes import active_note

Array = np.ndarray


def refusal(context: Any) -> str:
    """Why the active note's part cannot be pinned, or ''."""
    return mending.refusal(context, Pin, rpt_("Choose a note on a part that slips"))


class PLUMBLINE_OT_pin_part(Refusing, bpy.types.Operator):
    """Hold the slipping part in place with keys on the control that drives it, then check again"""

    bl_idname = "plumbline.pin_part"
    bl_label = "Pin in Place"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    def execute(self, context: Any) -> Any:
        scene = context.scene
        note, _ = active_note(context)
        checked = session.of(scene)
        if note is None or checked is None or not isinstance(note.remedy, Pin):
            return {"CANCELLED"}
        frame, part = scene.frame_current, scene.frame_subframe
        try:
            why = _pin(context, checked, note, note.remedy)
        finally:
            scene.frame_set(frame, subframe=part)
        if why:
            self.report({"WARNING"}, why)
            return {"CANCELLED"}
        session.mark_edited(scene.session_uid, note.character)
        mending.check_again(context, note)
        return {"FINISHED"}


def _pin(context: Any, checked: session.Checked, note: Note, remedy: Pin) -> str:
    """Sets the keys; returns why it could not, or ''."""
    scene, name = context.scene, spoken(remedy.target)
    place = place_of(scene, checked, note)
    shot = checked.shot
    character = next((c for c in shot.characters if c.name == note.character), None) if shot is not None else None
    if place.rig is None or not place.bone or character is None or shot is None:
        return rpt_("The {:s} is no longer there; check the shot again").format(name)
    first, last = remedy.frames
    end = int(shot.frames[-1])  # after the shot's end there is nothing to go back to
    if remedy.body:
        return _whole(context, place.rig, character, remedy, shot)
    whole = np.arange(first, (last + remedy.ease if last + remedy.ease <= end else last) + 1)
    offsets = _offsets(remedy, shot, character, whole) / shot.unit_scale
    control = _control(context, place, note, int(whole[len(whole) // 2]))
    if control is None:
        return rpt_("No keyed control alone moves the {:s}: pin it by hand").format(name)
    if why := _locked(control.rig):
        return why
    wanted = []
    for frame, offset in zip(whole.tolist(), offsets, strict=True):
        scene.frame_set(frame)
        context.view_layer.update()
        shift(control, offset)
        wanted.append(tuple(control.bone.location))
        context.view_layer.update()
    key(control, whole, np.array(wanted), last - first + 1, shot.unit_scale)
    return ""


def _locked(rig: Any) -> str:
    """Why nothing of the rig can be keyed, or ''."""
    action = rig.animation_data.action if rig.animation_data else None
    if action is None or action.library is not None or not action.is_editable:
        return rpt_("The action of {:s} is linked or empty, so it cannot be keyed here").format(rig.name)
    return ""


def _whole(context: Any, rig: Any, character: Any, remedy: Pin, shot: Any) -> str:
    """Moves the whole figure back; returns why it could not, or ''."""
    bones = tuple(b for b in (name.removeprefix(f"{rig.name}/") for name in character.bones) if b in rig.pose.bones)
    return _locked(rig) or pin_body(context, rig, bones, remedy, shot.unit_scale)


def _offsets(remedy: Pin, shot: Any, character: Any, whole: Array) -> Array:
    """World offsets (N, 3) in meters that bring the part to its pin on whole frames, easing out after the span."""
    first, last = remedy.frames
    places = np.array(remedy.places)
    if len(places) == 1:
        places = np.repeat(places, last - first + 1, axis=0)
    head = character.head(remedy.target)
    now = np.stack([np.interp(whole, shot.frames, head[:, k]) for k in range(3)], axis=1)
    out = np.zeros((len(whole), 3))
    inside = whole <= last
    out[inside] = places - now[inside]
    left = 1.0 - (whole[~inside] - last) / max(remedy.ease, 1)
    out[~inside] = out[inside][-1] * left[:, None]
    return out


def _control(context: Any, place: Any, note: Note, frame: int) -> Control | None:
    """The bone whose own keyed move takes the part along, whole: one that the note's keys lie on, else a goal or what
    carries one."""
    rig = place.rig
    context.scene.frame_set(frame)
    names = [key.owner.removeprefix(f"{rig.name}/") for key in note.keys if key.channel.startswith("location[")]
    goals = [
        constraint.subtarget
        for bone in rig.pose.bones
        for constraint in bone.constraints
        if constraint.type == "IK" and constraint.target == rig and constraint.subtarget
    ]
    above = [
        parent.name for goal in goals if goal in rig.pose.bones for parent in rig.pose.bones[goal].parent_recursive
    ]
    measured = rig.pose.bones[place.bone]
    for name in dict.fromkeys([*names, *goals, *above]):
        bone = rig.pose.bones.get(name)
        if bone is not None and location_curves(rig, bone) and _drives(context, Control(rig, bone), measured):
            return Control(rig, bone)
    return None


def _drives(context: Any, control: Control, measured: Any) -> bool:
    """Whether a small move of the control moves the part as far, and no joint above the limb with it."""
    rig = control.rig
    graph = context.evaluated_depsgraph_get()

    def places() -> Array:
        context.view_layer.update()
        posed = rig.evaluated_get(graph).pose.bones
        return np.array([rig.matrix_world @ posed[b.name].head for b in watched])

    root = measured.parent_recursive[1] if len(measured.parent_recursive) > 1 else measured
    watched = [measured, root]
    kept = control.bone.location.copy()
    before = places()
    size = 0.02 * max(float(np.linalg.norm(before[0] - before[1])), 1e-6)
    try:
        for axis in np.eye(3)[:2]:
            control.bone.location = kept
            context.view_layer.update()
            shift(control, axis * size)
            moved = places() - before
            if np.linalg.norm(moved[0] - axis * size) > FOLLOWS * size or np.linalg.norm(moved[1]) > FOLLOWS * size:
                return False
        return True
    finally:
        control.bone.location = kept
        context.view_layer.update()
