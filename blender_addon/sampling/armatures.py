# SPDX-License-Identifier: GPL-3.0-or-later
"""Which armatures of a scene make one character, and who the characters are."""

import hashlib
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import bpy
import numpy as np

from ...core.body_map.find import find
from ...core.body_map.group import group
from ...core.body_map.result import BodyMap, BodyMapError
from ...core.body_map.skeleton import Skeleton
from ...core.card import Card, CardError
from ...core.numeric.affine import inverse
from .kept_cards import text_of
from .presence import idle, seen
from .rigs import Rig, carriers_of, is_selected, missing_files, places_of, rigs_of, told_apart, unusable
from .skeleton import armatures_of, skeleton_of
from .stands import Stands

Array = np.ndarray


class CannotMeasure(Exception):
    """A scene or a request that cannot be measured at all, with one clear sentence for people."""


@dataclass(frozen=True)
class Member:
    """One character of the cast: its armatures, what the body map found, and its card.

    worlds: per rig the world matrix (4, 4), scene units, that the skeleton and the map's directions were carried by.
    """

    name: str
    rigs: tuple[Rig, ...]
    skeleton: Skeleton
    map: BodyMap
    card: Card
    worlds: tuple[Array, ...]
    warnings: tuple[str, ...] = ()

    def rig_of(self, bone: int) -> Rig:
        """The rig that a bone of the skeleton belongs to."""
        name = self.skeleton.armatures[bone]
        return next(rig for rig in self.rigs if rig.name == name)

    def carried(self, worlds: Sequence[Array], unit: float) -> "Member":
        """This member with its rest pose carried from where its armatures stood to ``worlds``, one (4, 4) a rig."""
        moves = {}
        for rig, old, world in zip(self.rigs, self.worlds, worlds, strict=True):
            move = world @ inverse(old)
            move[:3, 3] *= unit
            moves[rig.name] = move
        each = np.array([moves[name] for name in self.skeleton.armatures])
        turn = each[:, :3, :3]

        def to(points: Array) -> Array:
            return np.asarray(np.einsum("bij,bj->bi", turn, points) + each[:, :3, 3])

        axes = turn @ self.skeleton.axes
        axes /= np.maximum(np.linalg.norm(axes, axis=1, keepdims=True), 1e-30)
        skeleton = replace(self.skeleton, heads=to(self.skeleton.heads), tails=to(self.skeleton.tails), axes=axes)
        main = moves[self.skeleton.armatures[next(iter(self.map.parts.values()))]][:3, :3]
        up, forward = main @ self.map.up, main @ self.map.forward
        found = replace(self.map, up=up / np.linalg.norm(up), forward=forward / np.linalg.norm(forward))
        return replace(self, skeleton=skeleton, map=found, worlds=tuple(worlds))


Fallback = Callable[[str], Card | None]


def no_card(name: str) -> Card | None:
    """No card for anybody."""
    return None


@dataclass
class Cast:
    """All characters of a scene, and sentences about the armatures that are none or that cannot be measured."""

    members: list[Member] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)


def cast_of(
    scene: Any,
    wanted: Sequence[str] | None = None,
    cards: dict[str, Card] | None = None,
    stands: Stands | None = None,
    fallback: Fallback = no_card,
    selected: bool = False,
) -> Generator[float, None, Cast]:
    """The characters of the scene, or those named ``wanted``, or those of which an armature is selected; a step each.

    cards: by the character's name, '' for any; else the text in the armature's own property; else what ``fallback``
    gives for its name. Raises CannotMeasure where there is no character, where a name is unknown, or where a card
    cannot be used.
    """
    cast, stands = Cast(), stands or Stands()
    rigs = told_apart(list(rigs_of(scene)))
    if not rigs:
        gone = "".join(f"; the linked file {file} is missing" for file in missing_files()[:3])
        raise CannotMeasure(f"the scene {scene.name!r} has no armature, so there is no character to measure{gone}")
    usable = []
    for rig in rigs:
        why = unusable(rig, stands)
        if why is None:
            usable.append(rig)
        else:
            cast.remarks.append(f"{rig.name} is not measured: {why}")
    named: dict[str, Member] = {}
    reasons = list(cast.remarks)
    for place in places_of(usable):
        for member in _members(scene, place, cards or {}, reasons, stands, fallback):
            if member is not None:
                name = _free_name(member, named)
                named[name] = member if name == member.name else _renamed(member, name)
            yield 0.0
    if wanted:
        unknown = [name for name in wanted if name not in named]
        if unknown:
            has = ", ".join(sorted(named)) or "none"
            raise CannotMeasure(
                f"the scene {scene.name!r} has no character named {unknown[0]!r} (it has: {has})"
                + _because(unknown[0], reasons)
            )
        named = {name: member for name, member in named.items() if name in wanted}
    if selected:
        named = {name: member for name, member in named.items() if any(map(is_selected, member.rigs))}
        if not named:
            raise CannotMeasure("no character is selected: select an armature, or check all characters")
    _drop_templates(named, cast)
    strangers = [name for name in cards or {} if name and name not in named]
    if strangers:
        raise CannotMeasure(
            f"a card was given for {strangers[0]!r}, but the characters are: {', '.join(sorted(named)) or 'none'}"
        )
    if not named:
        raise CannotMeasure(
            reasons[0]
            if len(reasons) == 1
            else f"no body was found on any armature of the scene {scene.name!r}: {'; '.join(reasons)}"
        )
    cast.members = list(named.values())
    return cast


def _drop_templates(named: dict[str, Member], cast: Cast) -> None:
    """Takes out whom nothing can move and who has no body, where anybody else is left; a card keeps him in."""
    still = [
        name
        for name, member in named.items()
        if member.card == Card() and all(not rig.carriers and idle(rig.object) for rig in member.rigs)
    ]
    for name in still if len(still) < len(named) else ():
        cast.remarks.append(f"{name} is not measured: nothing moves it and no mesh hangs on it")
        del named[name]


def _because(name: str, reasons: Sequence[str]) -> str:
    mine = [r for r in reasons if r.startswith(f"{name} ")]
    return f"; {mine[0]}" if mine else ""


def _members(
    scene: Any, rigs: list[Rig], cards: dict[str, Card], reasons: list[str], stands: Stands, fallback: Fallback
) -> Iterator[Member | None]:
    """The characters that some rigs make; None stands for a step of the work."""
    scale = scene.unit_settings.scale_length
    in_view = seen(scene)
    worlds = [np.array(rig.world_now(stands), float) for rig in rigs]
    skeletons, maps = [], []
    for rig, world in zip(rigs, worlds, strict=True):
        skeletons.append(skeleton_of([rig.object], scale, worlds=[world], labels=[rig.name]))
        if len(rigs) > 1:
            maps.append(_find(skeletons[-1], {}))
            yield None
    meshes = (
        [users for users in _shared_meshes([rig.object for rig in rigs]) if len(users) > 1] if len(rigs) > 1 else []
    )
    groups = group(skeletons, carriers_of(rigs), meshes, maps) if len(rigs) > 1 else [(0,)]
    for group_rows in groups:
        together = [rigs[i] for i in group_rows]
        skeleton = (
            skeletons[group_rows[0]]
            if len(group_rows) == 1
            else skeleton_of(
                [rig.object for rig in together],
                scale,
                worlds=[worlds[i] for i in group_rows],
                labels=[rig.name for rig in together],
            )
        )
        card = _card(scene, together, cards, fallback)
        try:
            found = _find(skeleton, card.parts)
        except BodyMapError as error:
            raise CannotMeasure(f"the card of {together[0].name} cannot be used: {error}") from None
        if not found.parts:
            names = ", ".join(rig.name for rig in together)
            why = found.warnings[0] if found.warnings else "it has no limbs in pairs"
            reasons.append(f"{names} is no body: {why}")
            continue
        warnings = []
        for rig in together:
            outer = rig.carriers[0][0] if rig.carriers else rig.object
            if rig.object.hide_viewport or outer.hide_viewport:
                warnings.append(f"{rig.name} is hidden in viewports; it is measured as it would move if shown")
            elif outer.session_uid not in in_view:
                warnings.append(
                    f"{rig.name} lies only in collections that are excluded or hidden; it is measured as it would "
                    "move if shown"
                )
        yield Member(
            _body_name(together, skeleton, found),
            tuple(together),
            skeleton,
            found,
            card,
            tuple(worlds[i] for i in group_rows),
            tuple(warnings),
        )


_found: dict[bytes, BodyMap] = {}


def _find(skeleton: Skeleton, given: Mapping[str, str]) -> BodyMap:
    """``find``, remembered for skeletons that are equal to the last bit: a second check of a scene need not think
    again.
    """
    whole = hashlib.sha256(
        repr((skeleton.names, skeleton.armatures, skeleton.goals, skeleton.up, sorted(given.items()))).encode()
    )
    for column in (skeleton.parents, skeleton.heads, skeleton.tails, skeleton.axes, skeleton.deform, skeleton.weight):
        whole.update(np.ascontiguousarray(column).tobytes())
    key = whole.digest()
    if key not in _found:
        if len(_found) >= 256:
            _found.clear()
        _found[key] = find(skeleton, given)
    return _found[key]


def _shared_meshes(armatures: Sequence[Any]) -> list[list[int]]:
    """Per mesh of the file, the indices of those armatures that bend it."""
    row = {object: i for i, object in enumerate(armatures)}
    return [[row[a] for a in armatures_of(mesh) if a in row] for mesh in bpy.data.objects if mesh.type == "MESH"]


def _body_name(rigs: Sequence[Rig], skeleton: Skeleton, found: BodyMap) -> str:
    """The name of the armature that holds most of the mapped parts."""
    names = [skeleton.armatures[bone] for bone in found.parts.values()]
    return max((rig.name for rig in rigs), key=names.count)


def _free_name(member: Member, taken: dict[str, Member]) -> str:
    """The armature's name; where it stands more than once, with the name of what instances it."""
    if member.name not in taken:
        return member.name
    carriers = member.rigs[0].carriers
    name = f"{member.name} ({carriers[-1][0].name})" if carriers else f"{member.name} (linked)"
    number, free = 2, name
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free


def _renamed(member: Member, name: str) -> Member:
    return replace(member, name=name)


def _card(scene: Any, rigs: Sequence[Rig], cards: dict[str, Card], fallback: Fallback) -> Card:
    for rig in rigs:
        if rig.name in cards:
            return cards[rig.name]
    if "" in cards:
        return cards[""]
    for rig in rigs:
        text = text_of(scene, rig.object)
        if text:
            try:
                return Card.read(text if isinstance(text, str) else "")
            except CardError as error:
                raise CannotMeasure(f"the card kept on {rig.name} cannot be used: {error}") from None
    try:
        return next((card for rig in rigs if (card := fallback(rig.name)) is not None), Card())
    except CardError as error:
        raise CannotMeasure(f"the card of {rigs[0].name} cannot be used: {error}") from None
