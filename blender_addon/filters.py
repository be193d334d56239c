# SPDX-License-Identifier: GPL-3.0-or-later
"""Which notes the list, the marks and the pins show: by severity, lane, character, selection and frames."""

from dataclasses import dataclass
from typing import Any

from ..core.note import Note
from . import compat, session, settings


@dataclass(frozen=True)
class Filter:
    """What is shown. character: '' for all; chosen: the characters and, where bones are selected, the parts of each
    that are selected, or None for all; frames: first and last scene frame, or None for all."""

    severities: frozenset[str]
    hidden_lanes: frozenset[str]
    character: str
    chosen: tuple[tuple[str, frozenset[str]], ...] | None
    frames: tuple[int, int] | None

    def passes(self, note: Note) -> bool:
        """Whether the note is shown."""
        if note.severity.value not in self.severities or note.lane in self.hidden_lanes:
            return False
        if self.character and note.character != self.character:
            return False
        if self.frames is not None and (note.start > self.frames[1] or note.end < self.frames[0]):
            return False
        if self.chosen is None:
            return True
        return any(
            name == note.character and (not parts or bool(parts & {note.part, *note.parts}))
            for name, parts in self.chosen
        )


def now(context: Any) -> Filter:
    """The filter of this context. Cheap enough for drawing; equal as long as it shows the same."""
    here, scene = settings.state(context), context.scene
    checked, frames = session.of(scene), None
    characters = {c.name for c in checked.shot.characters} if checked is not None and checked.shot is not None else ()
    if here.in_range_only:
        preview = scene.use_preview_range
        frames = (
            (scene.frame_preview_start, scene.frame_preview_end) if preview else (scene.frame_start, scene.frame_end)
        )
    return Filter(
        frozenset(s for s in ("low", "medium", "high") if getattr(here, f"show_{s}")),
        frozenset(here.hidden_lanes.split()),
        here.show_character if here.show_character in characters else "",
        _chosen(context) if here.selected_only else None,
        frames,
    )


def _chosen(context: Any) -> tuple[tuple[str, frozenset[str]], ...]:
    """Names of selected characters, each with the parts whose bones are selected in pose mode (none: all of it)."""
    checked = session.of(context.scene)
    out = []
    for character in checked.shot.characters if checked is not None and checked.shot is not None else ():
        uid = checked.uids.get(character.name) if checked is not None else None
        rig = next((o for o in context.view_layer.objects if o.session_uid == uid), None)
        if rig is None or not (rig.select_get() or rig.mode == "POSE"):
            continue
        parts: frozenset[str] = frozenset()
        if rig.mode == "POSE":
            selected = {bone.name for bone in rig.pose.bones if compat.bone_is_selected(bone)}
            parts = frozenset(
                part
                for part, bone in zip(character.parts, character.bones, strict=True)
                if bone.rpartition("/")[2] in selected
            )
        out.append((character.name, parts))
    return tuple(out)
