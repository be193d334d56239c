# SPDX-License-Identifier: GPL-3.0-or-later
"""People's characters and our own skinned one on a stage: lanterns about them, a second figure, and cameras as a layout
artist sets them up. Nothing is planted: what two outlines do here they do by chance.
"""

import contextlib
import io
import tempfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector
from plumbline.blender_addon.sampling.sweep import CannotMeasure, Request, sweep_now
from plumbline.core.need import Need
from plumbline.core.shot import Character, Shot
from plumbline.core.testing import clips
from plumbline.core.testing.pods import Mesh

from ..blender.skinned import solid
from . import files
from .played import play, pods

Array = np.ndarray

#: Longest piece of a clip that is staged, seconds: a shot, not a session.
LONGEST = 6.0
#: Actions of the glTF characters that are worth a shot of their own; held poses and copies are left out.
ACTIONS = {
    "Mage": (
        *("Idle", "Walking_A", "Walking_C", "Running_A", "Running_Strafe_Left", "Jump_Full_Long", "Jump_Full_Short"),
        *("1H_Melee_Attack_Chop", "2H_Melee_Attack_Spin", "Block_Attack", "Cheer", "Dodge_Backward", "Hit_B"),
        *("Death_A", "Interact", "Lie_StandUp", "PickUp", "Sit_Chair_Down", "Spellcast_Long", "Throw", "Use_Item"),
        "Unarmed_Melee_Attack_Kick",
    ),
    "player": ("idle", "walk", "run", "jump", "shooting_standing"),
}


#: The Mage brings two wands and two books for her two hands; she keeps the staff and the closed book.
SPARE = ("1H_Wand", "Spellbook_open")


@dataclass(frozen=True)
class Take:
    """One clip to be staged. kind: 'captured' on our own figure, 'hand-keyed' on people's characters. build() puts it
    into a fresh scene, which then plays it from its first frame to its last."""

    kind: str
    clip: str
    build: Callable[[], None]


@dataclass(frozen=True)
class Angle:
    """A camera. azimuth: degrees from the figure's front to its left; lens: mm; framing: 'full' or 'medium'; orbit:
    degrees that it travels about the figure in the shot; two: whether the second figure stands in it; pitch: degrees
    that it stands above its aim."""

    name: str
    azimuth: float
    lens: float
    framing: str
    orbit: float = 0.0
    two: bool = False
    pitch: float = 3.434


ANGLES = (
    Angle("three-quarter full, 50 mm", 35.0, 50.0, "full"),
    Angle("profile full, 85 mm", 90.0, 85.0, "full"),
    Angle("front full, 35 mm", 0.0, 35.0, "full"),
    Angle("three-quarter medium, 85 mm", -40.0, 85.0, "medium"),
    Angle("front medium, 35 mm", 10.0, 35.0, "medium"),
    Angle("profile medium, 50 mm", -90.0, 50.0, "medium"),
    Angle("slow move full, 50 mm", 50.0, 50.0, "full", orbit=20.0),
    Angle("two, three-quarter full, 35 mm", -35.0, 35.0, "full", two=True),
)


def angles_of(take: Take) -> tuple[Angle, ...]:
    """Every other angle, from the first or the second by a hash of the clip's name: half of all views tell as much in
    half the time."""
    return ANGLES[zlib.crc32(take.clip.encode()) % 2 :: 2]


# ---- takes -----------------------------------------------------------------------------------------------------------


def takes(more: Path | None) -> Iterator[Take]:
    """Every clip of the registries on our figure; of a folder the captured files on it too, and hand-keyed characters.

    Hand-keyed: the .blend files named animation-human-*, whose rig is linked, and the ACTIONS of the .glb files.
    """
    for name in clips.names(more):
        yield Take("captured", name, partial(played, partial(clips.load, name, 24.0, more)))
    if more is None:
        return
    for path in sorted(more.rglob("animation-human-*.blend")):
        if "as_published" not in path.parts:
            yield Take("hand-keyed", path.stem, partial(files.open_blend, path))
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted(more.rglob("*.glb")):
            kept = Path(folder) / f"{path.stem}.blend"
            for action in ACTIONS.get(path.stem, ()):
                yield Take("hand-keyed", f"{path.stem} {action}", partial(acted, path, action, kept))


def played(load: Callable[[], Shot], start: float = 0.0) -> None:
    """A clip at 24 frames a second, from ``start`` seconds, on our own figure in a fresh scene."""
    shot = load()
    who, first = shot.characters[0], round(start * 24)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.fps = 24
    scene.frame_start, scene.frame_end = 1, min(shot.count - first, round(LONGEST * 24))
    play(scene, who, pods(who), scene.frame_end, first)


def acted(path: Path, action: str, kept: Path) -> None:
    """A glTF file is read once and kept as a .blend: every action wants a fresh scene, and reading it takes long."""
    if kept.exists():
        files.open_blend(kept)
    else:
        files.import_glb(path)
        for known in bpy.data.actions:
            known.use_fake_user = True
        with contextlib.redirect_stdout(io.StringIO()):
            bpy.ops.wm.save_as_mainfile(filepath=str(kept), copy=True)
    files.assign(action)


# ---- the stage -------------------------------------------------------------------------------------------------------


class Stage:
    """A take with its lanterns, and its scene seen from one angle after another."""

    def __init__(self, take: Take, seed: int | None = None) -> None:
        """seed: strews the lanterns; without one they stand where ``_lanterns`` says."""
        take.build()
        self.take, self.scene = take, bpy.context.scene
        scene = self.scene
        scene.frame_end = min(scene.frame_end, scene.frame_start + round(LONGEST * scene.render.fps) - 1)
        scene.render.resolution_x, scene.render.resolution_y, scene.render.resolution_percentage = 1920, 1080, 100
        scene.timeline_markers.clear()
        self.bodies = [o for o in scene.objects if o.type == "MESH" and _hangs(o) and not _spare(o) and o.visible_get()]
        self.rigs = [o for o in scene.objects if o.type == "ARMATURE"]
        for object in set(scene.objects) - {*self.bodies, *self.rigs}:
            object.hide_render = True
        shot = sweep_now(scene, Request(Need.JOINTS))
        if not shot.characters:
            raise CannotMeasure("no character was found")
        self.who: Character = max(shot.characters, key=lambda c: len(c.parts))
        if not self.who.has("head"):
            raise CannotMeasure("the figure has no head that a camera could be set by")
        self.frames, self.unit = shot.frames, shot.unit_scale
        self.seconds = shot.count / shot.rate
        self.left = np.cross(self.who.up, self.who.forward)
        self._measure()
        self._lanterns(seed)
        data = bpy.data.cameras.new("View")
        self.camera = bpy.data.objects.new("View", data)
        scene.collection.objects.link(self.camera)
        scene.camera = self.camera
        self._second: list[Any] = []

    def _measure(self) -> None:
        """The ground in meters, how tall the figure stands in this clip, and its size whichever way it lies."""
        low, high = [], []
        for frame in self.frames[:: max(1, len(self.frames) // 12)]:
            self.scene.frame_set(round(frame))
            graph = bpy.context.evaluated_depsgraph_get()
            corners = []
            for body in self.bodies:
                now = body.evaluated_get(graph)
                places = np.empty(3 * len(now.data.vertices), np.float32)
                now.data.vertices.foreach_get("co", places)
                world = np.array(now.matrix_world)
                corners.append(places.reshape(-1, 3) @ world[:3, :3].T + world[:3, 3])
            low.append(np.min([c.min(axis=0) for c in corners], axis=0))
            high.append(np.max([c.max(axis=0) for c in corners], axis=0))
        extents = (np.array(high) - low) * self.unit
        self.ground = float(np.percentile(np.array(low)[:, 2], 10)) * self.unit
        self.height, self.size = float(extents[:, 2].max()), float(np.median(extents.max(axis=1)))

    def _lanterns(self, seed: int | None) -> None:
        """One hangs from the right hand, one stands on the ground, one hangs behind at the height of the head; a
        character's own things in its hands are props too."""
        hand = next((p for p in ("hand.R", "forearm.R") if self.who.has(p)), None)
        if hand is not None:
            held = self._lantern("Lantern")
            for frame, place in zip(self.frames, self.who.end(hand), strict=True):
                held.location = place / self.unit
                held.keyframe_insert("location", frame=float(frame))
        root = self._middle(0)
        side = 1.0 if zlib.crc32(self.take.clip.encode()) % 2 else -1.0
        standing, hanging = self._lantern("Standing lantern"), self._lantern("Hanging lantern")
        stands, hangs, high = (side * 0.28, 0.1), (-side * 0.16, -0.35), 0.97
        if seed is not None:
            rng = np.random.default_rng([seed, zlib.crc32(self.take.clip.encode()), 1])
            (a, b), (near, far), high = rng.uniform(0, 2 * np.pi, 2), rng.uniform(0.15, 0.6, 2), rng.uniform(0.3, 1.05)
            stands, hangs = (near * np.sin(a), near * np.cos(a)), (far * np.sin(b), far * np.cos(b))
        place = root + self.size * (stands[0] * self.left + stands[1] * self.who.forward)
        standing.location = (place + (0.0, 0.0, 0.13 * self.size)) / self.unit
        place = root + self.size * (hangs[0] * self.left + hangs[1] * self.who.forward)
        hanging.location = (place + (0.0, 0.0, high * self.height)) / self.unit
        for object in self.bodies:
            if object.parent_type == "BONE" and "hand" in object.parent_bone:
                object["plumbline_prop"] = True

    def _lantern(self, name: str) -> Any:
        made = solid(self.scene, name, _lantern(self.size / self.unit))
        made["plumbline_prop"] = True
        return made

    def _middle(self, sample: int) -> Array:
        """Where the figure stands: under its pelvis on a straight way through the clip."""
        return np.array([*_straight(self.who.head("pelvis"), sample)[:2], self.ground])

    def _framed(self, sample: int, framing: str) -> tuple[Array, float]:
        """The middle of the picture, and how much it shows from top to bottom, meters."""
        if framing == "full":
            middle = self._middle(sample) + np.array([0.0, 0.0, 0.52 * self.height])
            return middle, 1.3 * max(self.height, 0.62 * self.size)
        return _straight(self.who.head("head"), sample) - np.array([0.0, 0.0, 0.1 * self.size]), 0.8 * self.size

    def shoot(self, angle: Angle) -> None:
        """Sets the camera, keyed on every frame, and brings the second figure or sends it away."""
        data = self.camera.data
        data.lens, data.sensor_width = angle.lens, 36.0
        tall = data.sensor_width * 1080.0 / 1920.0
        self.camera.animation_data_clear()
        for i, frame in enumerate(self.frames):
            share = i / max(1, len(self.frames) - 1) - 0.5
            a = np.radians(angle.azimuth + angle.orbit * share)
            aim, shows = self._framed(i, angle.framing)
            distance = angle.lens / tall * shows
            way = np.cos(a) * self.who.forward + np.sin(a) * self.left + np.tan(np.radians(angle.pitch)) * self.who.up
            place = Vector((aim + distance * way) / self.unit)
            turn = (Vector(aim / self.unit) - place).to_track_quat("-Z", "Y")
            self.camera.matrix_world = Matrix.Translation(place) @ turn.to_matrix().to_4x4()
            self.camera.keyframe_insert("location", frame=float(frame))
            self.camera.keyframe_insert("rotation_euler", frame=float(frame))
        data.clip_start, data.clip_end = 0.01 * distance / self.unit, 100.0 * distance / self.unit
        for object in self._second:
            bpy.data.objects.remove(object)
        self._second = list(self._copies(angle)) if angle.two else []

    def _copies(self, angle: Angle) -> Iterator[Any]:
        """The same character once more, 0.4 of its height to the side and nearer, turned a third of the way round."""
        copies = {o: o.copy() for o in (*self.rigs, *(b for b in self.bodies if not b.get("plumbline_prop")))}
        a = np.radians(angle.azimuth)
        lens = np.cos(a) * self.who.forward + np.sin(a) * self.left
        side = np.cross(self.who.up, lens)
        root = self._middle(0)
        stands = Vector((root + 0.42 * self.size * side + 0.38 * self.size * lens) / self.unit)
        back = Matrix.Translation(-Vector(root / self.unit))
        about = Matrix.Translation(stands) @ Matrix.Rotation(2.0, 4, "Z") @ back
        for old, new in copies.items():
            self.scene.collection.objects.link(new)
            for modifier in new.modifiers:
                if modifier.type == "ARMATURE" and modifier.object in copies:
                    modifier.object = copies[modifier.object]
            if old.parent in copies:
                new.parent = copies[old.parent]
                new.matrix_parent_inverse = old.matrix_parent_inverse
            elif old.parent is None:
                new.animation_data_clear() if old.type == "MESH" else None
                new.matrix_world = about @ old.matrix_world
            yield new


def _straight(path: Array, sample: int) -> Array:
    """The place (3,) at a sample on the straight even way nearest to a path (F, 3)."""
    t = np.arange(len(path))
    return np.array([np.polyval(np.polyfit(t, path[:, k], min(1, len(t) - 1)), sample) for k in range(3)])


def _hangs(object: Any) -> bool:
    """Whether an armature bends or carries it."""
    while object is not None:
        if object.type == "ARMATURE" or any(m.type == "ARMATURE" and m.object for m in object.modifiers):
            return True
        object = object.parent
    return False


def _spare(object: Any) -> bool:
    """Whether it is one of the things for a hand that holds another already: packs bring several for one hand."""
    return any(word in object.name for word in SPARE)


def _lantern(height: float) -> Mesh:
    """A round lantern that hangs below its origin, a seventh of the figure's height."""
    roof = ((0.0, 0.0), (0.006, -0.02), (0.02, -0.04), (0.033, -0.055))
    profile = (*roof, (0.026, -0.06), (0.026, -0.115), (0.033, -0.12), (0.033, -0.13), (0.0, -0.13))
    around = 14
    places = [
        (r * np.cos(2 * np.pi * k / around), r * np.sin(2 * np.pi * k / around), z)
        for r, z in profile
        for k in range(around)
    ]
    faces: list[tuple[int, ...]] = [
        (i * around + k, i * around + (k + 1) % around, (i + 1) * around + (k + 1) % around, (i + 1) * around + k)
        for i in range(len(profile) - 1)
        for k in range(around)
    ]
    return np.array(places) * height, faces
