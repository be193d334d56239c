# SPDX-License-Identifier: GPL-3.0-or-later
"""What this session of Blender knows about its shots: results by scene, whether they are stale, and the check that
runs.

Nothing here is saved or undone, and no reference to Blender's data is kept: undo would leave it dangling. Scenes and
armatures are known by ``session_uid``, which undo does not change.
"""

import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any

from ..core.measures.contact_rows import ContactRow
from ..core.note import Note, Result
from ..core.shot import Shot
from . import fingerprint
from .sampling.kept_cards import text_of


@dataclass(frozen=True)
class Edit:
    """What was edited since a check: a name for people and the time of day in seconds since the epoch.

    spans: the scene frames that it can have changed, both ends inside; None while that is not known, or for all.
    """

    name: str
    at: float
    spans: tuple[tuple[int, int], ...] | None = None

    def touches(self, note: Note) -> bool:
        """Whether a note may say something else by now."""
        return self.spans is None or any(note.start <= last and note.end >= first for first, last in self.spans)


@dataclass
class Checked:
    """One scene's last check. ``why`` says in a sentence why there is none; then shot and result are None.

    uids: session_uid by name of the armatures at the time. settings: what the result hangs on besides the data.
    frame: the scene frame at which Blender last told us of a change, to tell a step in time from an edit.
    data, unkeyed, poses: fingerprints of what was measured, of what no key moves, and of the frames on which an undo
    may set the scene again. seconds: how long the first two took. cards: by the character's name the text of its card
    at the time. recarded: the characters whose card is another by now.
    """

    shot: Shot | None = None
    result: Result | None = None
    belts: tuple[tuple[tuple[float, ...], str], ...] = ()
    contacts: tuple[ContactRow, ...] = ()
    checks: tuple[str, ...] = ()
    why: str = ""
    uids: dict[str, int] = field(default_factory=dict)
    settings: tuple[Any, ...] = ()
    frame: int = 0
    edit: Edit | None = None
    data: bytes = b""
    unkeyed: bytes = b""
    seconds: float = 0.0
    poses: list[bytes] = field(default_factory=list)
    cards: dict[str, str] = field(default_factory=dict)
    recarded: tuple[str, ...] = ()

    _sorted: tuple[Any, tuple[Note, ...]] = (None, ())

    @property
    def notes(self) -> tuple[Note, ...]:
        """Notes, the severest first, then in time: their places are the numbers of the rows."""
        if self.result is None:
            return ()
        if self._sorted[0] is not self.result:  # asked at every redraw
            order = sorted(self.result.notes, key=lambda n: (-n.severity.rank, n.worst, n.start))
            self._sorted = (self.result, tuple(order))
        return self._sorted[1]


_checked: dict[int, Checked] = {}
#: The check that runs, or None. One at a time, whatever the scene.
job: Any = None
#: The note whose remedy was carried out, while the check that tells what is left of it runs; else None.
followed: Note | None = None
#: True while rows are written by us, so that their update does not count as a click.
filling = False
#: True from an undo until Blender has evaluated what it brought: it flags all of that as if it were edited.
undoing = False
#: Poses that are remembered: steps back through so many clicks are known.
_REMEMBERED = 200


def of(scene: Any) -> Checked | None:
    """The last check of this scene, or None where it was never checked."""
    return _checked.get(scene.session_uid)


def keep(scene: Any, checked: Checked) -> None:
    """Remembers a scene's check in place of the one before."""
    for _ in keeping(scene, checked):
        pass


def keeping(scene: Any, checked: Checked) -> Iterator[None]:
    """``keep`` in small steps: fingerprints of a large scene take their time. Remembered at the last."""
    if checked.shot is not None:
        start = time.perf_counter()
        data, unkeyed, pose = fingerprint.fresh(), fingerprint.fresh(), fingerprint.fresh()
        parts = (fingerprint.add_data(data, object) for object in list(scene.objects))
        for _ in chain(chain.from_iterable(parts), fingerprint.add_unkeyed(unkeyed, scene)):
            checked.seconds += time.perf_counter() - start
            yield
            start = time.perf_counter()
        for _ in fingerprint.add_poses(pose, scene):
            yield
        checked.data, checked.unkeyed, checked.poses = data.digest(), unkeyed.digest(), [pose.digest()]
    checked.settings = settings(scene)
    checked.frame = scene.frame_current
    checked.uids = {o.name: o.session_uid for o in scene.objects if o.type == "ARMATURE"}
    checked.cards, checked.recarded = _cards(scene, checked), ()
    _checked[scene.session_uid] = checked


def refuse(scene: Any, why: str) -> None:
    """Remembers why a scene could not be checked; notes of an earlier check are gone, since they may be wrong by
    now."""
    keep(scene, Checked(why=why))


def clear() -> None:
    """Forgets everything: another file is open."""
    _checked.clear()


def settings(scene: Any) -> tuple[Any, ...]:
    """What of the scene's settings a result hangs on."""
    render = scene.render
    preview = (scene.frame_preview_start, scene.frame_preview_end) if scene.use_preview_range else ()
    camera = scene.camera.session_uid if scene.camera else 0
    return (
        scene.frame_start,
        scene.frame_end,
        preview,
        render.fps,
        render.fps_base,
        render.frame_map_old,
        render.frame_map_new,
        render.resolution_x,
        render.resolution_y,
        scene.unit_settings.scale_length,
        camera,
    )


def edited(scene: Any) -> bool:
    """Whether the scene was edited after its last check."""
    checked = of(scene)
    return checked is not None and (bool(checked.recarded) or _reedited(scene, checked))


def _reedited(scene: Any, checked: Checked) -> bool:
    """Whether more than cards was edited."""
    return checked.edit is not None or checked.settings != settings(scene)


def stale(scene: Any, note: Note) -> bool:
    """Whether a note may say something else by now, since its frames or its character's card were edited after the
    check."""
    checked = of(scene)
    if checked is None:
        return False
    if checked.recarded and (not note.character or note.character in checked.recarded):
        return True
    return _reedited(scene, checked) and (checked.edit is None or checked.edit.touches(note))


def see_cards(scene: Any) -> None:
    """Finds the characters whose card is another than at the last check. For operators and timers."""
    checked = of(scene)
    if checked is not None:
        now = _cards(scene, checked)
        checked.recarded = tuple(name for name, text in checked.cards.items() if now.get(name, text) != text)


def _cards(scene: Any, checked: Checked) -> dict[str, str]:
    """Name -> text of the card of each character whose armature is still there."""
    there = {o.session_uid: o for o in scene.objects if o.type == "ARMATURE"}
    uids = {c.name: checked.uids.get(c.name) for c in (checked.shot.characters if checked.shot is not None else ())}
    return {name: repr(text_of(scene, there[uid])) for name, uid in uids.items() if uid in there}


def mark_edited(uid: int, name: str) -> None:
    """Marks the last check of the scene with this ``session_uid`` as stale; the first edit stays the one that is
    named."""
    checked = _checked.get(uid)
    if checked is not None:
        first = checked.edit
        checked.edit = Edit(name, time.time()) if first is None else replace(first, spans=None)


def not_edited(scene: Any) -> None:
    """Takes back that the scene was edited: nothing that is measured has changed."""
    checked = of(scene)
    if checked is not None:
        checked.edit = None


def edited_in(scene: Any, spans: tuple[tuple[int, int], ...] | None) -> None:
    """Says which frames the edits since the last check can have changed; None for all."""
    checked = of(scene)
    if checked is not None and checked.edit is not None:
        checked.edit = replace(checked.edit, spans=spans)


def remember(scene: Any) -> None:
    """Takes the scene as it stands now for one that the last check still holds for; call it before and after we change
    the frame or the selection, so that the undo of that is not taken for an edit."""
    checked = of(scene)
    if checked is not None and checked.shot is not None and not _reedited(scene, checked):
        now = fingerprint.of_pose(scene)
        if now not in checked.poses:
            checked.poses = [*checked.poses[-_REMEMBERED:], now]


def mark_undone(scenes: Iterable[Any]) -> bool:
    """After an undo or redo, a result stays fresh only where it leads back to a scene that the check held for; returns
    whether one became stale. Reads all that was measured, so it is nothing for a handler."""
    marked = False
    stands = {scene.session_uid: scene for scene in scenes}
    for uid, checked in _checked.items():
        scene = stands.get(uid)
        if checked.edit is not None or checked.shot is None:
            continue
        if (
            scene is None
            or fingerprint.of_pose(scene) not in checked.poses
            or fingerprint.of_data(scene) != checked.data
        ):
            mark_edited(uid, "")
            marked = True
        else:
            checked.frame = scene.frame_current
    return marked


def step(scene: Any) -> bool:
    """Whether the scene stands on another frame than when this was last asked."""
    checked = of(scene)
    if checked is None or checked.frame == scene.frame_current:
        return False
    checked.frame = scene.frame_current
    return True


def active(scene: Any, index: int) -> Note | None:
    """The note of a row, or None."""
    checked = of(scene)
    notes = checked.notes if checked else ()
    return notes[index] if 0 <= index < len(notes) else None


def several(scene: Any) -> bool:
    """Whether the last check of the scene measured several characters, so that notes must say whose they are."""
    checked = of(scene)
    return checked is not None and checked.shot is not None and len(checked.shot.characters) > 1


def with_height(checked: Checked, name: str, height: float) -> None:
    """Lets the panel know the height that a character's card states by now, so that it asks no more."""
    if checked.shot is not None:
        checked.shot = replace(
            checked.shot,
            characters=tuple(
                replace(c, card=replace(c.card, height=height)) if c.name == name else c
                for c in checked.shot.characters
            ),
        )
