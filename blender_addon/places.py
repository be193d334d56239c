# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a note's character and part lie in the scene as it is now: objects may have been renamed or removed since
the check."""

from dataclasses import dataclass
from typing import Any

import bpy

from ..core.note import Note
from .session import Checked


@dataclass(frozen=True)
class Place:
    """rig: the armature object, or None where the note has none or it is gone. bone: the name of the measured bone,
    or ''.
    stands: the object of the scene to make active, which for an instanced character is what instances it."""

    rig: Any
    bone: str
    stands: Any


def place_of(scene: Any, checked: Checked, note: Note) -> Place:
    """The place of the note's part; a note on a prop has the prop alone."""
    character = next((c for c in (checked.shot.characters if checked.shot else ()) if c.name == note.character), None)
    bone = "" if character is None or note.part not in character.index else character.bones[character.index[note.part]]
    if not bone:
        prop = scene.objects.get(note.part)
        rig = prop or _armature(checked, note.character)
        return Place(None, "", rig if rig is not None and rig.name in scene.objects else None)
    rig = _armature(checked, note.character)
    armature, slash, inner = bone.partition("/")
    if rig is None or bone not in rig.data.bones:  # several armatures make the character
        other = _armature(checked, armature) if slash else None
        if other is not None and inner in other.data.bones:
            rig, bone = other, inner
    stands = rig if rig is not None and scene.objects.get(rig.name) == rig else _instancer(scene, note.character)
    return Place(rig, bone if rig is not None and bone in rig.data.bones else "", stands)


def _armature(checked: Checked, name: str) -> Any:
    """The armature that had this name at the time of the check, whatever it is called now."""
    uid = checked.uids.get(name)
    if uid is not None:
        return next((o for o in bpy.data.objects if o.session_uid == uid), None)
    return next((o for o in bpy.data.objects if o.type == "ARMATURE" and name.startswith(f"{o.name} (")), None)


def _instancer(scene: Any, name: str) -> Any:
    """The object that instances the character 'Keeper (Instance)'."""
    return scene.objects.get(name.rpartition(" (")[2].rstrip(")")) if name.endswith(")") else None
