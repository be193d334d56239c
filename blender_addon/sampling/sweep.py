# SPDX-License-Identifier: GPL-3.0-or-later
"""One pass over the frames of a scene, in a temporary scene: Blender's motion becomes a Shot.

``sweep`` is a generator that yields the part done and returns the Shot. Closing it, or an error in it, leaves
everything as it was: the person's scene is never set to another frame, and the temporary scene is removed. Between two
steps the temporary scene exists, so whoever drives the generator must see that nothing pushes an undo step meanwhile.
"""

from collections.abc import Generator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from typing import Any

import bpy
import numpy as np

from ...core.card import Card
from ...core.need import Need
from ...core.shot import Character, Control, Keys, Shot, Sole
from ...core.steps import finished, within
from . import reach
from .armatures import CannotMeasure, Cast, Fallback, Member, cast_of, no_card
from .character import Places, bones_of, character_of, unplaceable
from .controls import Rigging, controls_of
from .goals import Chain, InfluenceReader, chains_of, goals_of, target_place
from .influences import Influences
from .keys import KeyBook
from .probe import Probe, probe, remove_strays, windows
from .props import Things
from .readers import PlaceReader, PoseReader
from .rigs import Rig, missing_files
from .routes import Routes
from .soles import skins_of, soles_of, standing_of
from .stands import Stands, stands_of
from .volumes import asks, skin_mass_of

__all__ = ["CannotMeasure", "Request", "remove_strays", "sweep", "sweep_now"]


@dataclass(frozen=True)
class Request:
    """What to sample. first, last: scene frames, else the scene's own range; characters: names, else all; cards: by the
    character's name, '' for any; fallback: the card of a name whose armature carries none; selected:
    only characters of which an armature is selected."""

    needs: Need
    first: int | None = None
    last: int | None = None
    characters: tuple[str, ...] | None = None
    cards: Mapping[str, Card] = field(default_factory=dict)
    fallback: Fallback = no_card
    selected: bool = False


def sweep_now(scene: Any, request: Request) -> Shot:
    """The Shot of ``sweep``, for callers that show no progress."""
    return finished(sweep(scene, request))


def sweep(scene: Any, request: Request, until: ExitStack | None = None) -> Generator[float, None, Shot]:
    """Samples a scene; yields the part done, 0 to 1; returns the Shot. Raises CannotMeasure with one sentence.

    until: takes the temporary scene out when it closes, at a moment when Blender may draw its windows again, as it does
    then; without, it goes with the sweep.
    """
    if until is None:
        with ExitStack() as own:
            return (yield from sweep(scene, request, own))
    judged = reach.judged(scene, request.first, request.last)
    yield 0.0
    if windows() and bpy.context.view_layer is not None:
        bpy.context.view_layer.update()  # what it has not met yet has no place, and no modifiers in a slot
    yield 0.0
    stands = stands_of(scene)
    yield 0.0
    cast = yield from cast_of(
        scene, request.characters, dict(request.cards), stands, request.fallback, request.selected
    )
    yield 0.0
    shot = yield from _Pass(scene, request, judged, cast, stands).run(until)
    yield 1.0
    return shot


class _Pass:
    """The work of one sweep: what to link, what to read on each frame, and the shot out of it. inside: where all that
    is measured is evaluated; aside: for what only may hide it."""

    inside: Probe
    aside: Probe

    def __init__(self, scene: Any, request: Request, judged: reach.Judged, cast: Cast, stands: Stands) -> None:
        self.stands = stands
        self.scene, self.request, self.judged, self.cast = scene, request, judged, cast
        self.needs = request.needs
        self.unit = float(scene.unit_settings.scale_length)
        self.remarks = [*judged.remarks, *cast.remarks, *_missing_libraries()]

    def run(self, until: ExitStack) -> Generator[float, None, Shot]:
        needs, members = self.needs, self.cast.members
        chains: dict[str, list[Chain]] = {}
        for m in members if Need.GOALS in needs else ():
            chains[m.name] = chains_of(m)
            yield 0.0
        armatures, others = self._wanted(chains)
        things = Things(self.scene, needs, self.stands)
        yield 0.0
        self.inside, self.aside = (until.enter_context(probe(self.scene)) for _ in range(2))
        return (yield from self._within(chains, armatures, others, things))

    def _within(
        self,
        chains: Mapping[str, list[Chain]],
        armatures: Mapping[int, tuple[Any, set[str]]],
        others: Mapping[int, Any],
        things: Things,
    ) -> Generator[float, None, Shot]:
        needs, members = self.needs, self.cast.members
        things.enter(self.inside)
        self._link(armatures, others)
        graph = self.inside.to(self.judged.first)
        moved = [*(object for object, _ in armatures.values()), *others.values()]
        frames = reach.frames_of(self.scene, self.judged, graph, moved)
        camera = self._camera(frames)
        yield 0.0
        n = len(frames)
        self.book = KeyBook(self.scene, (float(frames[0]), float(frames[-1])))
        self.rigging = Rigging(Influences(self.book, frames))
        poses = {key: PoseReader(object, sorted(names), n) for key, (object, names) in armatures.items()}
        places: dict[int, PlaceReader] = {**poses, **{key: PlaceReader(object, n) for key, object in others.items()}}
        influences = {c: InfluenceReader(c, n) for some in chains.values() for c in some}
        yield 0.0
        every: list[Any] = [*places.values(), *things.readers(n)]
        if camera is not None:
            every.append(camera)
        animated = [reader for chain, reader in influences.items() if chain.animated]
        routes = Routes(self.inside, self.book, frames, self.unit)
        alone = [reader for reader in every if isinstance(reader, PlaceReader) and not isinstance(reader, PoseReader)]
        for part in routes.fill(poses.values(), alone, camera):
            yield 0.4 * part
        readers = [*(reader for reader in every if not reader.filled), *animated]
        for i, frame in enumerate(frames if readers else ()):
            graph = self.inside.to(frame)
            for reader in readers:
                reader.read(i, graph)
            yield 0.4 + 0.5 * (i + 1) / n
        worlds = Places(places)
        characters = []
        for member in members:
            yield 0.9  # a figure may take as long as many frames, and Esc is looked at between two steps
            why = next((why for why in map(unplaceable, (worlds.of(rig) for rig in member.rigs)) if why), None)
            if why is not None:
                self.remarks.append(f"{member.name} is not measured: {why}")
                continue
            of_member = chains.get(member.name, [])
            character = yield from self._character(member, frames, poses, worlds, places, of_member, influences)
            if character is not None:
                characters.append(character)
        if not characters:
            raise CannotMeasure(self.remarks[-1])
        yield 0.9
        props, surfaces = things.found(characters, self.unit, len(frames), self.judged)
        yield 0.9
        render = self.scene.render
        shot = Shot(
            name=self.scene.name,
            frames=frames,
            fps=render.fps / render.fps_base,
            characters=tuple(characters),
            props=props,
            surfaces=surfaces,
            camera=None if camera is None else camera.camera(),
            gravity=np.array(self.scene.gravity) if self.scene.use_gravity else np.zeros(3),
            unit_scale=self.unit,
            file=bpy.data.filepath,
            first=self.judged.first,
            last=self.judged.last,
            remarks=tuple(dict.fromkeys([*self.remarks, *things.remarks])),
        )
        if Need.KISSES in needs:
            from .kisses import sweep_kisses

            kisses = yield from within(sweep_kisses(self.inside, self.aside, self.scene, shot, members), 0.9, 1.0)
            return replace(shot, kisses=kisses)
        return shot

    def _wanted(self, chains: Mapping[str, list[Chain]]) -> tuple[dict[int, tuple[Any, set[str]]], dict[int, Any]]:
        """Armatures with the bones to read, and other objects whose place is read, by session_uid."""
        armatures: dict[int, tuple[Any, set[str]]] = {}
        others: dict[int, Any] = {}
        for member in self.cast.members:
            for rig in member.rigs:
                armatures.setdefault(rig.object.session_uid, (rig.object, set()))
                others.update((carrier.session_uid, carrier) for carrier, _ in rig.carriers)
            bones = list(member.map.parts.values())
            if Need.ROTATIONS in self.needs:
                bones += [b for copies in member.map.copies.values() for b in copies]
            for bone in bones:
                armatures[member.rig_of(bone).object.session_uid][1].add(member.skeleton.names[bone])
            for chain in chains.get(member.name, []):
                armatures[chain.rig.object.session_uid][1].update(chain.bones)
                target = chain.target
                if chain.subtarget and target.type == "ARMATURE" and chain.subtarget in target.pose.bones:
                    armatures.setdefault(target.session_uid, (target, set()))[1].add(chain.subtarget)
                else:
                    others[target.session_uid] = target
        return armatures, {key: object for key, object in others.items() if key not in armatures}

    def _link(self, armatures: Mapping[int, tuple[Any, set[str]]], others: Mapping[int, Any]) -> None:
        for object, bones in armatures.values():
            if object.hide_viewport:  # not evaluated unless something hangs on each bone
                self.inside.pull(object)
                for bone in sorted(bones):
                    self.inside.pull(object, bone)
            else:
                self.inside.link([object])
        for object in others.values():
            self.inside.pull(object)

    def _camera(self, frames: np.ndarray) -> Any:
        if Need.CAMERA not in self.needs and Need.KISSES not in self.needs:
            return None
        from .camera import CameraReader

        reader = CameraReader(self.scene, frames.tolist())
        self.inside.link(reader.objects())
        return reader

    def _character(
        self,
        member: Member,
        frames: np.ndarray,
        poses: Mapping[int, PoseReader],
        worlds: Places,
        places: Mapping[int, PlaceReader],
        chains: list[Chain],
        influences: Mapping[Chain, InfluenceReader],
    ) -> Generator[float, None, Character | None]:
        unit, n = self.unit, len(frames)
        chains_of_member = {c: influences[c] for c in chains}
        member = member.carried([worlds.of(rig)[0] for rig in member.rigs], unit)

        def joint(rig: Rig, bone: str, tail: bool) -> np.ndarray:
            one = bones_of(rig, [bone], poses[rig.object.session_uid], worlds.of(rig), unit, rotations=False)
            return (one.tails if tail else one.heads)[:, 0]

        goals = (
            goals_of(member, chains_of_member, lambda c: target_place(c, worlds, poses, places, n, unit), joint)
            if chains
            else ()
        )
        yield 0.9
        keys: Keys | None = None
        controls: dict[str, tuple[Control, ...]] = {}
        if Need.KEYS in self.needs:
            controls, owners = controls_of(member, self.rigging, self.book, frames)
            yield 0.9
            keys = self.book.of_all(owners)
        skins = skins_of(member, {rig.name: worlds.of(rig)[0] for rig in member.rigs}, unit, self.stands)
        yield 0.9
        soles: tuple[Sole, ...] = ()
        if Need.ROTATIONS in self.needs:
            soles = yield from within(soles_of(member, skins), 0.9, 0.9)
        character, remarks = character_of(
            member,
            poses,
            worlds,
            unit,
            n,
            self.needs,
            goals=goals,
            soles=soles,
            keys=keys,
            controls=controls,
            standing=standing_of(member, skins),
        )
        self.remarks.extend(remarks)
        if character is not None and Need.VOLUMES in self.needs and asks(character, skins):
            skin = yield from within(skin_mass_of(self.scene, member, character, skins), 0.9, 0.9)
            character = replace(character, skin=skin)
        return character


def _missing_libraries() -> list[str]:
    return [
        f"the linked file {file} is missing: what comes from it is not measured, its skins have no vertices"
        for file in missing_files()
    ]
