# SPDX-License-Identifier: GPL-3.0-or-later
"""Remedies carried out on the keys that their note names. Each returns why it could not, as a sentence, or ''."""

from typing import Any

import numpy as np

from ..core.body import spoken
from ..core.key_fit import ON_FRAME, between_ends, changed, delayed, later
from ..core.measures.key_refs import channels_behind
from ..core.note import Note
from ..core.remedy import Follow, Shift
from ..core.remedy_offsets import Offset, offsets_of
from . import session
from .key_writing import Standing, refuse, write
from .named_channels import Named, named_channels
from .places import place_of
from .steering import REACHED, Figure, Steered, end_of, steer
from .translation import rpt_

Array = np.ndarray

#: The share of the largest offset by which keyed motion may miss the wanted one, and meters under which it always may.
_CLOSE, _ALWAYS = 0.03, 1e-4
#: In a curve's own unit, where values themselves are wanted: the share of what it changes by.
_CLOSE_VALUE = 0.02


def mend_keys(context: Any, note: Note) -> str:
    """Carries the note's remedy out; returns why it could not, or ''."""
    scene = context.scene
    checked = session.of(scene)
    shot = checked.shot if checked is not None else None
    character = next((c for c in shot.characters if c.name == note.character), None) if shot is not None else None
    if checked is None or shot is None or character is None or note.remedy is None:
        return rpt_("{:s} is no longer there; check the shot again").format(note.character)
    found = named_channels(note, scene)
    if not found:
        return rpt_("The keys are no longer there; check the shot again")
    if all(c.linked for c in found):
        return rpt_("The keys are linked: make a library override of the action first")
    free = [c for c in found if not c.linked and c.plain]
    if not free:
        return rpt_("Modifiers, strips or drivers lie over the keys: they do not move the part by themselves")
    frame, part = scene.frame_current, scene.frame_subframe
    try:
        if isinstance(note.remedy, Shift):
            return _shift(note, note.remedy, free, character)
        if isinstance(note.remedy, Follow):
            return _follow(note.remedy, free)
        place = place_of(scene, checked, note)
        if place.rig is None:
            return rpt_("{:s} is no longer there; check the shot again").format(note.character)
        figure = _figure(character, place.rig, shot)
        return _bring(context, figure, offsets_of(note.remedy, shot, character), free, shot, character)
    except Standing as why:
        text = rpt_("A key or a curve that the note does not name stands in the way: {:s} of {:s} in frame {:g}")
        return text.format(why.channel.channel, why.channel.owner, why.frame)
    finally:
        scene.frame_set(frame, subframe=part)


def _figure(character: Any, rig: Any, shot: Any) -> Figure:
    """The measured bones as they are in Blender now; of several armatures those of the note's own."""
    bones = {}
    for part, bone in zip(character.parts, character.bones, strict=True):
        name = bone if bone in rig.pose.bones else bone.removeprefix(f"{rig.name}/")
        if name in rig.pose.bones:
            bones[part] = (rig, name)
    return Figure(bones, character.leg_length / shot.unit_scale)


def _bring(
    context: Any, figure: Figure, offsets: list[Offset], channels: list[Named], shot: Any, character: Any
) -> str:
    """Each part's end brought to where it stood and its offset, from the root outward."""
    trimmed = [_trimmed(o) for o in offsets if o.part in figure.bones]
    asked = [o for o in trimmed if o is not None]
    stays = [_goes_on(shot, character, o) for o in asked]
    for offset, (before, after) in zip(asked, stays, strict=True):  # all or nothing: looked at before any is written
        refuse(channels, offset.first - before, offset.first + len(offset.offsets) - 1 + after)
    wanted = [_places(context, figure, o) + o.offsets / shot.unit_scale for o in asked]
    told: list[str] = []
    moved = False
    for offset, places, both in zip(asked, wanted, stays, strict=True):
        if offset.own:  # what carries it was moved before: only its own swing is asked for
            places = _places(context, figure, offset) + offset.offsets / shot.unit_scale
        steered = steer(context, figure, offset, places, channels, both)
        if steered is None or steered.missed > REACHED:
            told.append(spoken(offset.part))
            continue
        largest = float(np.linalg.norm(offset.offsets, axis=-1).max())
        close = max(_CLOSE * largest, _ALWAYS) / shot.unit_scale
        if _as_they_are(steered, close):  # what carries it was moved before, and has taken it along
            moved = True
            continue
        try:
            write(steered.channels, steered.first, steered.values, close / steered.reach, both)
        except Standing:
            if not moved:
                raise
            told.append(spoken(offset.part))  # the same control has moved what carries it, and has keys there now
            continue
        moved = True
    if len(told) == len(asked):
        return rpt_("No key that the note names moves the {:s} there: move it by hand").format(told[0] if told else "")
    return ""


def _goes_on(shot: Any, character: Any, offset: Offset) -> tuple[bool, bool]:
    """Whether the animation goes on before and after the offset's frames, so that the frame beside them has to stay:
    where no key lies there, one that is set would have all else stop dead on its way to it."""
    first, last = offset.first, offset.first + len(offset.offsets) - 1
    if character.keys is None or not len(character.keys.scene_frame) or last - first < 2:
        return True, True
    at = character.keys.scene_frame
    return (bool(first > shot.frames[0] or at.min() < first - ON_FRAME),
            bool(last < shot.frames[-1] or at.max() > last + ON_FRAME))


def _as_they_are(steered: Steered, close: float) -> bool:
    """Whether the values are those of the curves already, within ``close`` scene units of the part's end."""
    frames = steered.first + np.arange(steered.values.shape[1])
    now = np.array([c.values(frames) for c in steered.channels])
    return bool((np.abs(steered.values - now) <= close / steered.reach[:, None]).all())


def _trimmed(offset: Offset) -> Offset | None:
    """The frames that change alone."""
    rows = changed(offset.offsets)
    if rows is None:
        return None
    return Offset(offset.part, offset.first + rows[0], offset.offsets[rows[0] : rows[1] + 1], offset.own)


def _places(context: Any, figure: Figure, offset: Offset) -> Array:
    """Where the part's end stands on the offset's frames, (N, 3) scene units."""
    place = end_of(figure, offset.part, offset.own)
    out = []
    for frame in range(offset.first, offset.first + len(offset.offsets)):
        context.scene.frame_set(frame)
        context.view_layer.update()
        out.append(place())
    return np.array(out)


def _follow(remedy: Follow, channels: list[Named]) -> str:
    """All named values in one eased move between the ends."""
    frames = np.arange(remedy.frames[0], remedy.frames[1] + 1)
    if len(frames) < 3:
        return rpt_("There is no frame between frame {:d} and {:d}").format(*remedy.frames)
    refuse(channels, int(frames[0]), int(frames[-1]))
    for owner in dict.fromkeys(c.owner for c in channels):
        some = [c for c in channels if c.owner == owner]
        wanted = np.array([between_ends(c.values(frames)) for c in some])
        close = np.maximum(_CLOSE_VALUE * np.ptp(wanted, axis=1), 1e-4)
        write(some, int(frames[0]), wanted, close)
    return ""


def _shift(note: Note, remedy: Shift, channels: list[Named], character: Any) -> str:
    """The keys of each part's move later by its frames; of a control that moves several parts as much as the first of
    them. Where the next keys are too near for that, the values come later instead."""
    first, last = remedy.frames
    delays = _delays(remedy, channels, character)
    if not delays:
        return rpt_("All parts of the block hang on the same keys: give each its own first")
    roomy = [_room(some, note, by) for some, by in delays]
    for (some, _), room in zip(delays, roomy, strict=True):
        if not room:
            refuse(some, first, last + 1)
    for (some, by), room in zip(delays, roomy, strict=True):
        if room:
            for c in some:
                _move(c, _of_move(c, note.start, note.end), by)
            continue
        frames = np.arange(first, last + 2)
        wanted = np.array([delayed(c.values(frames), by) for c in some])
        wanted[:, -1] = [c.values(frames[-1:])[0] for c in some]
        write(some, first, wanted, np.maximum(_CLOSE_VALUE * np.ptp(wanted, axis=1), 1e-4))
    return ""


def _room(channels: list[Named], note: Note, by: int) -> bool:
    """Whether the keys of the move can come so much later on all of these curves."""
    return all(later(c.frames(), _of_move(c, note.start, note.end), by) is not None for c in channels)


def _delays(remedy: Shift, channels: list[Named], character: Any) -> list[tuple[list[Named], int]]:
    """The named curves of each control and the frames by which they come later; what moves the chest stays."""
    keys = character.keys
    by: dict[str, int] = {}
    stays = {keys.owners[i] for part in ("chest",) if keys is not None
             for i in channels_behind(character, keys, part, *map(float, remedy.frames))}
    for part, count in zip(remedy.targets, remedy.later, strict=True):
        for i in channels_behind(character, keys, part, *map(float, remedy.frames)) if keys is not None else ():
            owner = keys.owners[i]
            by[owner] = min(by.get(owner, count), count)
    out = []
    for owner, count in by.items():
        some = [c for c in channels if c.owner == owner]
        if some and owner not in stays:
            out.append((some, count))
    return out


def _of_move(channel: Named, first: int, last: int) -> Array:
    """(K,) bool: the named keys of the curve from scene frame ``first`` to ``last``."""
    at = channel.frames()
    named = np.zeros(len(at), bool)
    named[list(channel.points)] = True
    return named & (at >= first - ON_FRAME) & (at <= last + ON_FRAME)


def _move(channel: Named, keys: Array, by: int) -> None:
    step = by / channel.slope
    for k in np.flatnonzero(keys).tolist():
        point = channel.curve.keyframe_points[k]
        for place in (point.co, point.handle_left, point.handle_right):
            place.x += step
    channel.curve.update()
