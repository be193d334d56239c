# SPDX-License-Identifier: GPL-3.0-or-later
"""Which motions need no frame-by-frame evaluation: those that their keys alone tell, and Blender confirms it.

Each such motion is worked out by ``forward``, compared with Blender on the frames that ``proof`` names, and put into
its reader. What is unclear, or turns out otherwise by a hair, stays to be read frame by frame.
"""

from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from ...core.steps import within
from .camera import CameraReader
from .curves import Unclear
from .forward import Forward
from .keys import KeyBook
from .probe import Probe
from .proof import change_of, frames_to_ask, places_agree, poses_agree
from .readers import PlaceReader, PoseReader

Array = np.ndarray

#: Of fewer frames reading them all costs no more than the proof.
FEWEST = 24


class Routes:
    """Fills readers of one sweep from keys. frames (F,): whole scene frames; unit: meters per scene unit.

    reasons: by the name of an object, why it is read frame by frame.
    """

    def __init__(self, inside: Probe, book: KeyBook, frames: Array, unit: float) -> None:
        self._inside, self._frames, self._unit = inside, frames, unit
        self._book, self._forward = book, Forward(book, frames)
        self.reasons: dict[str, str] = {}

    def fill(
        self, poses: Iterable[PoseReader], places: Iterable[PlaceReader], camera: CameraReader | None
    ) -> Generator[float, None, None]:
        """Yields the part done. places: readers that are no poses."""
        poses = list(poses)
        if len(self._frames) < FEWEST:
            return
        posed: list[tuple[PoseReader, Array, tuple[str, ...], Array]] = []
        for n, reader in enumerate(poses):
            done = n / (len(poses) + 1)
            try:
                yield from within(self._book.reading(reader.object), done, done)
                place = self._forward.place(reader.object)
                yield done
                posed.append((reader, place, *(yield from within(self._pose(reader), done, done))))
            except Unclear as why:
                self.reasons[reader.object.name] = str(why)
            yield (n + 1) / (len(poses) + 1)
        # single places are cheap to read: they are worth it only where then nothing is left to be read
        placed = self._places(places, camera) if len(posed) == len(poses) else None
        if posed:
            for _ in self._prove(posed, placed, places, camera):
                yield 1.0

    def _pose(self, reader: PoseReader) -> Generator[float, None, tuple[tuple[str, ...], Array]]:
        return self._forward.posing(reader.object, reader.wanted)

    def _places(self, places: Iterable[PlaceReader], camera: CameraReader | None) -> dict[int, Array] | None:
        """World matrices by session_uid of all places and cameras; None where one of them is unclear."""
        found = {}
        objects = [reader.object for reader in places]
        if camera is not None:
            if not camera.still_lens():
                self.reasons["camera"] = "has its lens animated"
                return None
            objects += camera.objects()
        for object in objects:
            try:
                found[object.session_uid] = self._forward.place(object)
            except Unclear as why:
                self.reasons[object.name] = str(why)
                return None
        return found

    def _prove(
        self,
        posed: Sequence[tuple[PoseReader, Array, tuple[str, ...], Array]],
        placed: Mapping[int, Array] | None,
        places: Iterable[PlaceReader],
        camera: CameraReader | None,
    ) -> Iterator[None]:
        """Compares with Blender on some frames, and fills the readers whose motion agrees. placed: world matrices of
        all else by session_uid; None where something is to be stepped all the same."""
        nothing_left, placed = placed is not None, placed or {}
        asked = frames_to_ask(len(self._frames), (change_of(rows) for *_, rows in posed))
        cameras = [] if camera is None else camera.objects()
        objects = {o.session_uid: o for o in (*(reader.object for reader in places), *cameras)}
        there = {uid: PlaceReader(object, len(asked)) for uid, object in objects.items() if uid in placed}
        theirs = [PoseReader(reader.object, reader.wanted, len(asked)) for reader, *_ in posed]
        graph: Any = None
        for i, row in enumerate(asked):
            graph = self._inside.to(self._frames[row])
            for reading in (*theirs, *there.values()):
                reading.read(i, graph)
            yield
        good = []
        for (reader, world, bones, rows), seen in zip(posed, theirs, strict=True):
            if self._agree(world, bones, rows, seen, asked):
                good.append((reader, world, bones, rows))
            else:
                self.reasons[reader.object.name] = "moves otherwise than its keys say"
            yield
        same = {
            uid: places_agree(_at(placed[uid], asked), seen.matrices(), self._unit) for uid, seen in there.items()
        }
        self.reasons |= {objects[uid].name: "moves otherwise than its keys say" for uid, ok in same.items() if not ok}
        for reader, world, bones, rows in good:
            reader.fill(world)
            reader.fill_pose(bones, rows)
            yield
        if nothing_left and len(good) == len(posed) and all(same.values()):
            for place in places:
                place.fill(placed[place.object.session_uid])
            if camera is not None:
                camera.fill(placed, graph)
        else:
            self._inside.unlink(reader.object for reader, *_ in good)

    def _agree(self, world: Array, bones: tuple[str, ...], rows: Array, seen: PoseReader, asked: list[int]) -> bool:
        there = seen.matrices()
        if not places_agree(_at(world, asked), there, self._unit):
            return False
        row = {name: i for i, name in enumerate(bones)}
        chosen = rows[:, :, [row[name] for name in seen.wanted]]
        ours = chosen if chosen.shape[-1] == 1 else chosen[..., asked]
        lengths = np.array([seen.object.data.bones[name].length for name in seen.wanted])
        return poses_agree(ours, seen.rows(seen.wanted), there, lengths, self._unit)


def _at(world: Array, asked: Sequence[int]) -> Array:
    return world if len(world) == 1 else world[list(asked)]
