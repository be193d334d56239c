# SPDX-License-Identifier: GPL-3.0-or-later
"""Timeline markers at the worst frames of notes. Ours carry a tag, so that people's own are never touched.

The tag is a registered property, the only kind that markers keep in every Blender; it stays in the file where the
extension is not enabled.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy

from ..core.note import Note
from . import words

#: The property of a marker that holds the ids of its notes.
TAG = "plumbline_note"


@contextmanager
def tag_property() -> Iterator[None]:
    """Markers have the tag inside the block; where they have it already, nothing is done."""
    if hasattr(bpy.types.TimelineMarker, TAG):
        yield
        return
    text: Any = bpy.props.StringProperty  # the stubs say that it returns nothing
    setattr(
        bpy.types.TimelineMarker,
        TAG,
        text(
            name="Notes of This Marker", description="Which notes this marker stands for; empty on markers of your own"
        ),
    )
    try:
        yield
    finally:
        delattr(bpy.types.TimelineMarker, TAG)


def add(scene: Any, notes: Iterable[Note]) -> int:
    """One tagged marker at each worst frame, in place of tagged ones from before; returns how many.

    Notes that share a worst frame share a marker. Works also where the extension is not registered.
    """
    with tag_property():
        _remove(scene)
        frames: dict[int, list[Note]] = defaultdict(list)
        for note in notes:
            frames[note.worst].append(note)
        several = len({note.character for shared in frames.values() for note in shared}) > 1
        for frame, shared in sorted(frames.items()):
            marker = scene.timeline_markers.new(words.marker(shared, several), frame=frame)
            marker.select = False
            setattr(marker, TAG, "\n".join(note.id for note in shared))
    return len(frames)


def remove(scene: Any) -> int:
    """Takes all tagged markers of the scene away; returns how many."""
    with tag_property():
        return _remove(scene)


def ours(scene: Any) -> list[Any]:
    """The tagged markers of the scene."""
    with tag_property():
        return [marker for marker in scene.timeline_markers if getattr(marker, TAG)]


def _remove(scene: Any) -> int:
    tagged = [marker for marker in scene.timeline_markers if getattr(marker, TAG)]
    for marker in tagged:
        scene.timeline_markers.remove(marker)
    return len(tagged)
