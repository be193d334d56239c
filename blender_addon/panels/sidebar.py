# SPDX-License-Identifier: GPL-3.0-or-later
"""The sidebar of the 3D view. Drawing reads what is ready; it never measures and never writes."""

from typing import Any

import bpy

from ...core.note import Note
from ...core.remedy import Balance, Drift, Ease, Follow, Give, Land, Pin, Settle, Shift, Smooth, Soften
from .. import session, settings, words
from ..drawing import chips
from ..operators.card import likely_height
from ..operators.check_shot import progress_text
from ..translation import iface_
from .note_list import draw_list
from .wrapped import sentence

#: Remedies that an operator carries out.
_MENDS: dict[type, str] = {
    Pin: "plumbline.pin_part",
    Ease: "plumbline.ease_span",
    Settle: "plumbline.settle_stop",
    Shift: "plumbline.offset_block",
    Drift: "plumbline.let_drift",
    Follow: "plumbline.let_follow",
    Give: "plumbline.let_give",
    Smooth: "plumbline.smooth_wiggle",
    Land: "plumbline.land_frame",
    Soften: "plumbline.soften_snap",
    Balance: "plumbline.shift_hips",
}


def mend_of(note: Note) -> str:
    """The operator that carries a note's remedy out, or ''."""
    return _MENDS.get(type(note.remedy), "")


class _Sidebar:
    layout: Any
    bl_space_type: Any = "VIEW_3D"
    bl_region_type: Any = "UI"
    bl_category = "Plumbline"


class PLUMBLINE_PT_sidebar(_Sidebar, bpy.types.Panel):
    bl_label = "Plumbline"

    def draw(self, context: Any) -> None:
        layout: Any = self.layout
        scene = context.scene
        if session.job is not None:
            _running(layout, context, session.job)
            return
        checked = session.of(scene)
        stale = session.edited(scene)
        button = layout.row(align=True)
        button.scale_y = 1.5
        button.operator("plumbline.check_shot", text="Check Again" if stale else "Check Shot", icon="VIEWZOOM")
        button.prop(settings.state(context), "check_selected", text="", icon="RESTRICT_SELECT_OFF")
        if checked is None:
            first, last = (
                (scene.frame_preview_start, scene.frame_preview_end)
                if scene.use_preview_range
                else (scene.frame_start, scene.frame_end)
            )
            words_ = (
                iface_("Measures all characters, frames {:d} to {:d} (preview range)")
                if scene.use_preview_range
                else iface_("Measures all characters, frames {:d} to {:d}")
            )
            sentence(layout, context, words_.format(first, last), inset=40)
            return
        if stale:
            sentence(layout, context, _edited(checked), icon="FILE_REFRESH", inset=54)
        if checked.result is None:
            sentence(layout.box(), context, words.capital(checked.why), icon="ERROR")
            return
        _unknown_sizes(layout, context, checked)
        _failures(layout, context, checked)
        if not checked.notes:
            _no_notes(layout, context, checked)
            return
        draw_list(layout, context, checked)
        note = session.active(scene, settings.active_number(context))
        if note is not None:
            _detail(layout.box(), context, note)


class PLUMBLINE_PT_timeline_markers(_Sidebar, bpy.types.Panel):
    bl_label = "Timeline Markers"
    bl_parent_id = "PLUMBLINE_PT_sidebar"
    bl_order = 3
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: Any) -> bool:
        checked = session.of(context.scene)
        return not (session.job is not None or checked is None or not checked.notes)

    def draw(self, context: Any) -> None:
        row = self.layout.row(align=True)
        row.operator("plumbline.add_markers", text="Add", icon="MARKER_HLT")
        row.operator("plumbline.remove_markers", text="Remove", icon="X")


def _edited(checked: session.Checked) -> str:
    """That the shot was edited since its check, and where, as far as that is known."""
    if checked.edit is None and checked.recarded:
        return iface_("The card of {:s} was edited since the last check").format(", ".join(checked.recarded))
    spans = checked.edit.spans if checked.edit is not None else None
    if not spans:
        return iface_("Edited since the last check")
    some = [str(a) if a == b else iface_("{:d} to {:d}").format(a, b) for a, b in spans[:3]]
    return iface_("Edited in frames {:s}").format(", ".join(some + ["..."] * (len(spans) > 3)))


def _running(layout: Any, context: Any, job: Any) -> None:
    row = layout.row()
    row.scale_y = 1.5
    row.progress(factor=job.part, text=progress_text(job), type="BAR")
    sentence(layout, context, iface_("Esc to stop; the scene stays as it is"), inset=40)


def _no_notes(layout: Any, context: Any, checked: session.Checked) -> None:
    shot = checked.shot
    assert shot is not None
    box = layout.box()
    sentence(box, context, iface_("No notes in frames {:d} to {:d}").format(shot.first, shot.last), icon="CHECKMARK")
    names = ", ".join(c.name for c in shot.characters)
    sentence(box, context, iface_("{:d} checks ran on {:s}").format(len(checked.checks), names))


def _detail(box: Any, context: Any, note: Note) -> None:
    head = box.row(align=True)
    head.label(text=words.title(note), icon_value=chips.icon(note.lane, note.severity.value), translate=False)
    number = head.row()
    number.alignment = "RIGHT"
    number.label(text=words.amount(note), translate=False)
    if session.several(context.scene) and note.character:
        box.label(text=note.character, icon="ARMATURE_DATA", translate=False)
    sentence(box, context, words.capital(note.text))
    if note.remedy is not None:
        sentence(box, context, note.remedy.sentence(), icon="TOOL_SETTINGS")
    _frames(box, context, note)
    head, source = box.panel("PLUMBLINE_source", default_closed=True)
    step = {"low": iface_("Low from {:s}"), "medium": iface_("Medium from {:s}"), "high": iface_("High from {:s}")}
    head.label(text=step[note.severity.value].format(words.limit(note)), translate=False)
    if source is not None:
        sentence(source, context, words.capital(note.source))
    steps = box.row(align=True)
    steps.operator("plumbline.previous_note", text="", icon="TRIA_LEFT")
    steps.operator("plumbline.go_to_note", text=iface_("Go to {:d}").format(note.worst), translate=False).number = -1
    steps.operator("plumbline.next_note", text="", icon="TRIA_RIGHT")
    mend = mend_of(note)
    if mend:
        box.operator(mend)
    actions = box.row(align=True)
    actions.operator("plumbline.select_keys")
    if note.set_aside is None:
        actions.operator("plumbline.set_aside", text="Set Aside...")
    else:
        actions.operator("plumbline.bring_back")
        sentence(box, context, iface_("Set aside: {:s}").format(note.set_aside), icon="HIDE_ON")


def _frames(box: Any, context: Any, note: Note) -> None:
    """The worst frame as the scene counts it, as the shot counts it where that differs, and as timecode."""
    scene, checked = context.scene, session.of(context.scene)
    first = checked.shot.first if checked is not None and checked.shot is not None else scene.frame_start
    own, timecode = note.worst - int(first or 0) + 1, bpy.utils.smpte_from_frame(note.worst)
    if own == note.worst:
        text = iface_("Frame {:d}, {:s}").format(note.worst, timecode)
    else:
        text = iface_("Frame {:d}, {:d} of the shot, {:s}").format(note.worst, own, timecode)
    box.label(text=text, translate=False)


def _unknown_sizes(layout: Any, context: Any, checked: session.Checked) -> None:
    """Whose size is not known, in one box: of a crowd a box each would push the notes out of sight."""
    unknown = [c for c in (checked.shot.characters if checked.shot else ()) if not c.size_is_known]
    if not unknown:
        return
    box = layout.box()
    if len(unknown) == 1:
        text = iface_("{:s} is {:.3g} m tall, so nothing in meters or seconds was judged").format(
            unknown[0].name, unknown[0].height)
    else:
        text = iface_("{:d} characters are of no known size, so nothing in meters or seconds was judged").format(
            len(unknown))
    sentence(box, context, text, icon="QUESTION")
    column = box.column(align=True)
    for character in unknown:
        height = likely_height(character.height)
        if len(unknown) == 1:
            text = iface_("Set Height to {:.2f} m").format(height)
        else:
            text = iface_("{:s}, {:.3g} m: Set to {:.2f} m").format(character.name, character.height, height)
        button = column.operator("plumbline.set_height", text=text, translate=False)
        button.character, button.height = character.name, height


def _failures(layout: Any, context: Any, checked: session.Checked) -> None:
    """A check that failed has said nothing about the shot: that must not hide in a closed panel."""
    failed = dict.fromkeys(words.check(f.check) for f in checked.result.failed) if checked.result else {}
    if failed:
        sentence(
            layout.box(),
            context,
            iface_("{:s} failed, see Not Checked").format(", ".join(failed)),
            icon="ERROR",
        )
