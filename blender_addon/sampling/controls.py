# SPDX-License-Identifier: GPL-3.0-or-later
"""What a person keys to move each part: found by walking from the measured bone through constraints, parents, targets
of inverse kinematics and drivers to whatever has keys. Only the part against what carries it counts: the walk stops
where the rest of the body begins.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core import body
from ...core.keys import MOVING, Control
from .armatures import Member
from .influences import Influences, Value
from .keys import KeyBook
from .played import target_of

Array = np.ndarray
#: An object, by session_uid, with a bone's name or ''.
Node = tuple[int, str]

#: Less than this share of a motion is not told.
LEAST = 0.1
#: Places that are looked at for one part at the most; rigs are deep but not endless.
MOST = 400
#: Constraints that point a bone at something or hold it back: they carry nothing along.
_AIMS = {"STRETCH_TO", "DAMPED_TRACK", "TRACK_TO", "LOCKED_TRACK", "LIMIT_DISTANCE", "SHRINKWRAP", "FLOOR"}
#: Constraints that move no joint, and those that are looked at bone by bone of their chain.
_NONE, _CHAINS = {"COPY_SCALE", "LIMIT_SCALE", "MAINTAIN_VOLUME"}, {"IK", "SPLINE_IK"}
#: Of a copy of a bone, as a share of its length: how far head and tail may be off.
_COPY = 0.03


@dataclass(frozen=True)
class _Source:
    """Where a bone's or an object's motion comes from. kind: 'parent', 'carries', 'aims', 'goal' or 'driver'."""

    node: Node
    kind: str
    weight: Value


@dataclass(frozen=True)
class _Behind:
    """All that moves a bone or an object. own: the share of its own keys; properties: what its drivers read, with whose
    it is."""

    own: Value
    sources: tuple[_Source, ...]
    properties: tuple[tuple[Any, Control], ...]


class Rigging:
    """How things of a scene move each other; each is looked at once, however many parts it moves."""

    def __init__(self, influences: Influences) -> None:
        self.objects: dict[int, Any] = {}
        self._influences = influences
        self._behind: dict[Node, _Behind] = {}
        self._chains: dict[int, dict[str, list[Any]]] = {}
        self._drivers: dict[int, dict[str, list[Any]]] = {}

    def node(self, object: Any, bone: str) -> Node:
        """The node of a bone, or of the object where it has no such bone."""
        self.objects[object.session_uid] = object
        return object.session_uid, bone if object.pose is not None and bone in object.pose.bones else ""

    def behind(self, node: Node) -> _Behind:
        if node not in self._behind:
            self._behind[node] = self._find(node)
        return self._behind[node]

    def _find(self, node: Node) -> _Behind:
        object = self.objects[node[0]]
        thing = object.pose.bones[node[1]] if node[1] else object
        found: list[_Source] = []
        left: Value = 1.0  # what later constraints leave of what comes before them
        held: Value = 1.0  # what they leave of the parent
        for constraint in reversed(thing.constraints):
            if constraint.type in _CHAINS or constraint.type in _NONE:
                continue
            influence = self._influences.of(object, constraint)
            kind = "aims" if constraint.type in _AIMS else "carries"
            for target, bone, share in self._targets(object, constraint):
                found.append(_Source(self.node(target, bone), kind, influence * left * share))
            if constraint.type == "ARMATURE" and len(constraint.targets):
                held = held * (1.0 - influence)
            elif _replaces(constraint):
                left = left * (1.0 - influence)
        for constraint in self._chains_of(object).get(node[1], ()) if node[1] else ():
            influence = self._influences.of(object, constraint) * left
            pole = getattr(constraint, "pole_target", None), getattr(constraint, "pole_subtarget", "")
            for target, bone in ((constraint.target, getattr(constraint, "subtarget", "")), pole):
                if target is not None:
                    found.append(_Source(self.node(target, bone), "goal", influence))
        parent = _parent(object, node[1])
        if parent is not None:
            found.append(_Source(self.node(*parent), "parent", left * held))
        properties: list[tuple[Any, Control]] = []
        for curve in self._drivers_of(object).get(node[1], ()):
            for target, bone, path in _read_by(curve.driver):
                if path:
                    properties.append((target, Control(f"{target.name}/{bone}" if bone else target.name, path)))
                else:
                    found.append(_Source(self.node(target, bone), "driver", left))
        return _Behind(left, tuple(s for s in found if s.node != node), tuple(properties))

    def _targets(self, object: Any, constraint: Any) -> Iterable[tuple[Any, str, Value]]:
        """What a constraint follows, with the share of each."""
        if constraint.type == "ARMATURE":
            for target in constraint.targets:
                if target.target is not None:
                    yield target.target, target.subtarget, self._influences.setting(object, target, "weight")
        elif getattr(constraint, "target", None) is not None:
            yield constraint.target, getattr(constraint, "subtarget", ""), 1.0

    def _chains_of(self, object: Any) -> Mapping[str, list[Any]]:
        """Bone -> the constraints of inverse kinematics that move it."""
        if object.session_uid not in self._chains:
            chains = self._chains[object.session_uid] = {}
            for bone in object.pose.bones:
                for constraint in bone.constraints:
                    if constraint.type in _CHAINS:
                        for link in _links(bone, constraint):
                            chains.setdefault(link.name, []).append(constraint)
        return self._chains[object.session_uid]

    def _drivers_of(self, object: Any) -> Mapping[str, list[Any]]:
        """Bone, or '' for the object -> the drivers that move it as a whole."""
        if object.session_uid not in self._drivers:
            drivers = self._drivers[object.session_uid] = {}
            data = object.animation_data
            for curve in data.drivers if data is not None else ():
                bone, path = target_of(curve.data_path)
                if path in MOVING:
                    drivers.setdefault(bone, []).append(curve)
        return self._drivers[object.session_uid]


def _links(bone: Any, constraint: Any) -> list[Any]:
    """The pose bones that an IK constraint on a bone moves."""
    above = [bone, *bone.parent_recursive]
    if not getattr(constraint, "use_tail", True):
        above = above[1:]
    return above[: constraint.chain_count] if constraint.chain_count else above


def _replaces(constraint: Any) -> bool:
    """Whether a constraint at full influence leaves nothing of what the bone did before it."""
    return (
        constraint.type == "COPY_TRANSFORMS"
        and constraint.target is not None
        and constraint.mix_mode == "REPLACE"
        and constraint.owner_space in {"WORLD", "POSE", "CUSTOM"}
    )


def _parent(object: Any, bone: str) -> tuple[Any, str] | None:
    """What a bone or an object hangs on: a bone without parent on its object."""
    if bone:
        above = object.pose.bones[bone].parent
        return (object, above.name if above is not None else "")
    if object.parent is None:
        return None
    return object.parent, object.parent_bone if object.parent_type == "BONE" else ""


def _read_by(driver: Any) -> Iterable[tuple[Any, str, str]]:
    """Object, bone or '', and path or '' for the place of the whole, of each variable of a driver."""
    for variable in driver.variables:
        for target in variable.targets:
            if getattr(target.id, "animation_data", None) is None and not hasattr(target.id, "pose"):
                continue
            if variable.type == "SINGLE_PROP":
                bone, path = target_of(re.sub(r"\[\d+\]$", "", target.data_path))
                if path:
                    yield target.id, bone, path
            elif hasattr(target.id, "pose"):
                yield target.id, target.bone_target, ""


def controls_of(
    member: Member, rigging: Rigging, book: KeyBook, frames: Array
) -> tuple[dict[str, tuple[Control, ...]], list[Any]]:
    """Part -> its controls, nearest first, of those that have keys; and all objects that have such keys or carry the
    body, the member's own armatures first. frames (F,): scene frames."""
    parts = _Parts(member, rigging)
    found = {}
    objects = {rig.object.session_uid: rig.object for rig in member.rigs}
    for part in member.map.parts:
        kept = []
        for owner, control, weight in parts.walk(part):
            keys = book.read(owner).keys if owner.animation_data is not None else None
            spans = _spans(weight, frames)
            if keys is not None and spans != () and keys.behind(control):
                kept.append(Control(control.owner, control.path, spans))
                objects.setdefault(owner.session_uid, owner)
        found[part] = tuple(kept)
    return found, list(objects.values())


def _most(weight: Value) -> float:
    """The greatest of a number or of (F,)."""
    return weight if isinstance(weight, float) else float(np.max(weight))


def _spans(weight: Value, frames: Array) -> tuple[tuple[float, float], ...] | None:
    """The frames on which a weight counts; None where it always does."""
    if isinstance(weight, float):
        return None if weight >= LEAST else ()
    counts = np.broadcast_to(np.asarray(weight) >= LEAST, frames.shape)
    if counts.all():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[0], counts.astype(int), [0]])))
    return tuple((float(frames[a]), float(frames[b - 1])) for a, b in zip(edges[::2], edges[1::2], strict=True))


class _Parts:
    """The walks from the parts of one member."""

    def __init__(self, member: Member, rigging: Rigging) -> None:
        self._member, self._rigging = member, rigging
        self._own = {part: self._nodes(part, bone) for part, bone in member.map.parts.items()}
        self._carried: dict[str, frozenset[Node]] = {}

    def walk(self, part: str) -> list[tuple[Any, Control, Value]]:
        """Owner, control and weight (a number or (F,)) of whatever moves a part against what carries it."""
        rigging = self._rigging
        above = _above(part)
        others = frozenset().union(*(nodes for other, nodes in self._own.items() if other != part)) - self._own[part]
        uppers = frozenset().union(*(self._own.get(other, frozenset()) for other in above)) - self._own[part]
        trunk = self._trunk(part)
        reached: dict[tuple[Node, bool], Value] = {}
        waiting: list[tuple[Node, bool, Value]] = [(self._start(part), False, 1.0)]
        while waiting and len(reached) < MOST:
            node, goal, weight = waiting.pop(0)
            known = reached.get((node, goal))
            if known is not None and _most(weight - known) <= 0.01:
                continue
            reached[node, goal] = weight if known is None else np.maximum(weight, known)
            for source in rigging.behind(node).sources:
                through = goal or source.kind == "goal"
                stops = uppers if through else others
                if source.node in trunk or (source.kind != "goal" and source.node in stops):
                    continue
                share = weight * source.weight
                if _most(share) >= LEAST:
                    waiting.append((source.node, through, share))
        out = []
        for (node, _), weight in reached.items():
            object, behind = rigging.objects[node[0]], rigging.behind(node)
            own = Control(f"{object.name}/{node[1]}" if node[1] else object.name)
            out.append((object, own, weight * behind.own))
            out += [(owner, control, weight * behind.own) for owner, control in behind.properties]
        return _once(out)

    def _start(self, part: str) -> Node:
        bone = self._member.map.parts[part]
        return self._rigging.node(self._member.rig_of(bone).object, self._member.skeleton.names[bone])

    def _nodes(self, part: str, bone: int) -> frozenset[Node]:
        """The part's bone and the bones that stand just where it stands, to its very end."""
        skeleton, parts = self._member.skeleton, self._member.map.parts
        head = skeleton.heads[bone]
        following = body.next_part(part)
        tail = skeleton.heads[parts[following]] if following in parts else skeleton.tails[bone]
        near = _COPY * max(float(np.linalg.norm(tail - head)), 1e-9)
        same = np.flatnonzero(
            (np.abs(skeleton.heads - head).max(axis=1) <= near) & (np.abs(skeleton.tails - tail).max(axis=1) <= near)
        )
        rig = {rig.name: rig.object for rig in self._member.rigs}
        return frozenset(
            self._rigging.node(rig[skeleton.armatures[i]], skeleton.names[i]) for i in {bone, *same.tolist()}
        )

    def _trunk(self, part: str) -> frozenset[Node]:
        """Whatever carries the part together with the rest of the body."""
        carrier = next((p for p in _above(part) if p in self._own and (p in body.CENTRE or p[:3] == "cla")), None)
        if carrier is None:
            return frozenset()
        if carrier not in self._carried:
            found, waiting = set(), [self._start(carrier)]
            while waiting:
                node = waiting.pop()
                if node not in found:
                    found.add(node)
                    waiting += [
                        source.node
                        for source in self._rigging.behind(node).sources
                        if source.kind in {"parent", "carries"} and _most(source.weight) >= LEAST
                    ]
            self._carried[carrier] = frozenset(found)
        return self._carried[carrier]


def _above(part: str) -> list[str]:
    """The parts that a part hangs from, nearest first."""
    out = []
    above = body.parent(part)
    while above is not None:
        out.append(above)
        above = body.parent(above)
    return out


def _once(found: Sequence[tuple[Any, Control, Value]]) -> list[tuple[Any, Control, Value]]:
    """Each control once, with its greatest weight."""
    # the same bone may be met before and after a goal
    best: dict[Control, tuple[Any, Control, Value]] = {}
    for owner, control, weight in found:
        known = best.get(control)
        best[control] = (owner, control, weight if known is None else np.maximum(weight, known[2]))
    return list(best.values())
