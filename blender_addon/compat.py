# SPDX-License-Identifier: GPL-3.0-or-later
"""Where Blender 4.2 to 5.2 differ. The only file that asks which version it is in, or whether an attribute exists."""

import ctypes
from collections.abc import Iterator
from typing import Any

import bpy

#: Pixels by which the box that a region shows may end beside its edges, as beside a scroll bar.
_EDGE = 32


def action_fcurves(action: Any, slot: Any = None) -> list[Any]:
    """The F-curves that ``action`` plays for the user of ``slot``: of legacy, slotted and layered actions alike.

    A layered action without a slot animates nothing, so it yields nothing.
    """
    if action is None:
        return []
    if getattr(action, "is_action_layered", False):  # 4.4 and later
        if slot is None:
            return []
        return [
            curve
            for layer in action.layers
            for strip in layer.strips
            if strip.type == "KEYFRAME"
            for bag in strip.channelbags
            if bag.slot_handle == slot.handle
            for curve in bag.fcurves
        ]
    return list(getattr(action, "fcurves", ()))  # 4.2, and unlayered actions of 4.4


def has_one_layer(action: Any) -> bool:
    """Whether an action is of one piece: legacy, or of one layer in full, with one strip of keys at most."""
    if not getattr(action, "is_action_layered", False):
        return True
    layers = list(action.layers)
    return not layers or (
        len(layers) == 1
        and getattr(layers[0], "influence", 1.0) >= 1.0
        and getattr(layers[0], "mix_mode", "REPLACE") == "REPLACE"
        and all(strip.type == "KEYFRAME" for strip in layers[0].strips)
        and len(layers[0].strips) <= 1
    )


def slot_of(owner: Any) -> Any:
    """The action slot of an AnimData or an NLA strip, or None where there are no slots (4.2)."""
    return getattr(owner, "action_slot", None)


def slot_name(owner: Any) -> str:
    """What people read as the slot's name, or '' where there are no slots."""
    slot = slot_of(owner)
    return "" if slot is None else str(slot.name_display)


def playing_strips(data: Any) -> Iterator[Any]:
    """The NLA strips of an AnimData that play: not muted, on tracks not muted, the solo track alone where there is
    one.
    """
    if not getattr(data, "use_nla", True):
        return
    tracks = list(data.nla_tracks)
    solo = [track for track in tracks if track.is_solo]
    for track in solo or tracks:
        if not track.mute:
            for strip in track.strips:
                if strip.type == "CLIP" and not strip.mute:
                    yield strip


def curves_of(owner: Any) -> Iterator[tuple[Any, Any]]:
    """(F-curve, NLA strip or None) of all that animates an ID, in the order in which it plays.

    In tweak mode the active action plays through its strip, so its curves come with that strip and not alone.
    """
    data = owner.animation_data
    if data is None:
        return
    active = None
    if data.use_tweak_mode:
        active = next((s for t in data.nla_tracks for s in t.strips if s.active and s.action == data.action), None)
    elif not any(track.is_solo for track in data.nla_tracks):
        for curve in action_fcurves(data.action, slot_of(data)):
            yield curve, None
    for strip in playing_strips(data):
        for curve in action_fcurves(strip.action, slot_of(strip)):
            yield curve, strip
    if active is not None and active not in list(playing_strips(data)):
        for curve in action_fcurves(data.action, slot_of(data)):
            yield curve, active


def library_is_missing(library: Any) -> bool:
    """Whether a linked file is not where it was."""
    missing = getattr(library, "is_missing", None)  # newer versions know
    if missing is not None and missing:
        return True
    import os

    return not os.path.exists(bpy.path.abspath(library.filepath))


def select_bone(bone: Any, on: bool) -> None:
    """Selects a pose bone or not; since 5.0 that is the pose bone's, before it was the bone's."""
    if hasattr(bone, "select"):
        bone.select = on
    else:
        bone.bone.select = on


def bone_is_selected(bone: Any) -> bool:
    """Whether a pose bone is selected."""
    return bool(bone.select if hasattr(bone, "select") else bone.bone.select)


def bone_is_visible(bone: Any) -> bool:
    """Whether a pose bone can be seen: not hidden by itself, nor by all of its collections."""
    hidden = bone.hide if hasattr(bone, "hide") else bone.bone.hide
    collections = bone.bone.collections
    return not hidden and (not len(collections) or any(c.is_visible_effectively for c in collections))


def overlays_shown(space: Any) -> bool:
    """Whether an editor's overlays are switched on; editors without the switch show them."""
    overlay = getattr(space, "overlay", None) or getattr(space, "overlays", None)  # a Dope Sheet has it from 5.0 on
    return bool(getattr(overlay, "show_overlays", True))


def channels_end(region: Any) -> int | None:
    """The pixel of an animation editor's region under which no channel lies, or None where this Blender does not tell.

    Blender keeps in the region's View2D the box that all channels take, as its first four floats (left, right, bottom,
    top), and the box that is seen as the next four, but gives Python the second alone. So the first is read where it
    lies, and believed only where what follows it is the box that is seen.
    """
    view = region.view2d
    _, _, bottom, _, *seen = (ctypes.c_float * 8).from_address(view.as_pointer())
    left, right, low, high = seen
    (x, y), (x_end, y_end) = (view.view_to_region(*corner, clip=False) for corner in ((left, low), (right, high)))
    if max(abs(x), abs(y), abs(x_end - region.width), abs(y_end - region.height)) > _EDGE:
        return None
    return int(view.view_to_region(0.0, bottom, clip=False)[1])
