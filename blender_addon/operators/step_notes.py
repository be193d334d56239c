# SPDX-License-Identifier: GPL-3.0-or-later
"""Going to notes: by a click on a row, and one after the other along the timeline."""

from typing import Any

import bpy

from ...core.note import Note
from .. import compat, session, settings
from ..places import Place, place_of
from ..translation import rpt_
from .refusing import Refusing


def refusal(context: Any) -> str:
    """Why there is no note to go to, or ''."""
    checked = session.of(context.scene) if context.scene else None
    if checked is None:
        return rpt_("The shot was not checked yet")
    return "" if checked.notes else rpt_("There are no notes")


def active_note(context: Any) -> tuple[Note | None, str]:
    """The note of the active row, or None and why there is none."""
    why = refusal(context)
    note = None if why else session.active(context.scene, settings.active_number(context))
    return note, why or ("" if note is not None else rpt_("Choose a note"))


class PLUMBLINE_OT_go_to_note(Refusing, bpy.types.Operator):
    """Go to the worst frame of the note, with its character and part active"""

    bl_idname = "plumbline.go_to_note"
    bl_label = "Go to Worst Frame"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}
    refusal = staticmethod(refusal)

    number: bpy.props.IntProperty(  # type: ignore[valid-type]
        name="Note", description="Its place in the list; -1 for the selected one", default=-1, options={"SKIP_SAVE"}
    )

    def execute(self, context: Any) -> Any:
        number = settings.active_number(context) if self.number < 0 else self.number
        note = session.active(context.scene, number)
        if note is None:
            self.report({"WARNING"}, "That note is no longer there; check the shot again")
            return {"CANCELLED"}
        return go_to(self, context, number, note)


class PLUMBLINE_OT_next_note(Refusing, bpy.types.Operator):
    """Go to the next note in time, with its character and part active"""

    bl_idname = "plumbline.next_note"
    bl_label = "Next Note"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    def execute(self, context: Any) -> Any:
        return _step(self, context, 1)


class PLUMBLINE_OT_previous_note(Refusing, bpy.types.Operator):
    """Go to the previous note in time, with its character and part active"""

    bl_idname = "plumbline.previous_note"
    bl_label = "Previous Note"
    bl_options = {"REGISTER", "UNDO"}
    refusal = staticmethod(refusal)

    def execute(self, context: Any) -> Any:
        return _step(self, context, -1)


def go_to(operator: Any, context: Any, number: int, note: Note) -> Any:
    """Sets the frame, makes the character and part active, and shows the row."""
    scene = context.scene
    settings.show_row(number, scene)
    settings.show_limits_of(note)
    session.remember(scene)
    scene.frame_set(note.worst)
    checked = session.of(scene)
    assert checked is not None
    session.step(scene)
    place = place_of(scene, checked, note)
    if place.stands is None:
        operator.report(
            {"WARNING"},
            rpt_("{:s} is no longer in the scene; check the shot again").format(note.character or note.part),
        )
    elif not _activate(context, place, note):
        operator.report({"INFO"}, rpt_("{:s} is hidden, so it was not selected").format(place.stands.name))
    session.remember(scene)
    return {"FINISHED"}


def _step(operator: Any, context: Any, way: int) -> Any:
    """To the nearest note before or after the playhead; notes that share a frame come one after the other."""
    notes = session.of(context.scene).notes  # type: ignore[union-attr]
    here = (context.scene.frame_current, _standing(context, notes, way))
    order = sorted((note.worst, number) for number, note in enumerate(notes))
    beyond = [key for key in order if (key > here if way > 0 else key < here)]
    if not beyond:
        operator.report({"INFO"}, "No later note" if way > 0 else "No earlier note")
        return {"CANCELLED"}
    number = beyond[0 if way > 0 else -1][1]
    return go_to(operator, context, number, notes[number])


def _standing(context: Any, notes: tuple[Note, ...], way: int) -> float:
    """The number of the note that the playhead stands on, else one before or after all of this frame."""
    number = settings.active_number(context)
    on_it = 0 <= number < len(notes) and notes[number].worst == context.scene.frame_current
    return number if on_it else (-1 if way > 0 else len(notes))


def _activate(context: Any, place: Place, note: Note) -> bool:
    """Makes the character active and, where it can be, the part. False where the character is hidden."""
    layer, stands = context.view_layer, place.stands
    posing = context.mode == "POSE"
    if stands.name not in layer.objects or not stands.visible_get():
        return False
    if posing and stands.mode != "POSE":  # another character is posed: this one is only shown by its bone
        posing = False
    elif not posing and context.mode == "OBJECT":
        for other in [o for o in context.selected_objects if o != stands]:
            other.select_set(False)
        stands.select_set(True)
    if context.mode in ("OBJECT", "POSE"):
        layer.objects.active = stands
    bone = _bone_to_show(place, note)
    if bone is not None:
        place.rig.data.bones.active = bone.bone
        if posing:
            for other in context.selected_pose_bones or ():
                compat.select_bone(other, other == bone)
            compat.select_bone(bone, compat.bone_is_visible(bone))
    return True


def _bone_to_show(place: Place, note: Note) -> Any:
    """The measured bone; where that is hidden, a control that the note's keys lie on."""
    if place.rig is None or place.rig.pose is None:
        return None
    bones = place.rig.pose.bones
    measured = bones.get(place.bone)
    owners = dict.fromkeys(key.owner for key in note.keys)
    controls = [bones.get(o.removeprefix(f"{place.rig.name}/")) for o in owners]
    visible = [b for b in (measured, *controls) if b is not None and compat.bone_is_visible(b)]
    return visible[0] if visible else measured
