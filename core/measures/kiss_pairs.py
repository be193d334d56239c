# SPDX-License-Identifier: GPL-3.0-or-later
"""Which outlines are held against each other by default, from the poses alone.

Judged: a prop against every body part but the limb that holds it, prop against prop, a head against another whole
character. Never: parts that meet at a joint, and things that ride on each other over a whole run of the camera.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ..body import SIDES
from ..kiss import Thing
from ..numeric.spans import spans
from ..shot import Camera, Character, Prop, Shot

Array = np.ndarray

#: Group of body parts with one outline -> its parts.
GROUPS: dict[str, tuple[str, ...]] = {
    "head": ("head", "neck"),
    "torso": ("pelvis", "spine", "chest", "clavicle.L", "clavicle.R"),
    **{f"arm.{s}": (f"upper_arm.{s}", f"forearm.{s}", f"hand.{s}") for s in SIDES},
    **{f"leg.{s}": (f"thigh.{s}", f"shin.{s}", f"foot.{s}", f"toe.{s}") for s in SIDES},
}

#: Shares of the character's height. A hand this near to a prop's surface holds it; so does one whose distances to the
#: prop change by less than RIGID while it travels at least MOVED. Common practice, no source.
GRASP, RIGID, MOVED, LARGE = 0.05, 0.01, 0.03, 0.15

#: Seconds that a hand must hold a prop before its limb is left out.
HELD = 0.25


@dataclass(frozen=True, slots=True)
class Pair:
    """Two things, a moved first by a remedy; open (F,) where they are judged; height: meters, by which depths count."""

    a: Thing
    b: Thing
    open: Array
    height: float


def things_of(shot: Shot) -> tuple[Thing, ...]:
    """The parts of every character, every character as a whole where there are several, and the props."""
    found = []
    for character in shot.characters:
        found += [
            Thing(group, "part", character.name, tuple(p for p in parts if character.has(p)))
            for group, parts in GROUPS.items()
            if any(character.has(p) for p in parts)
        ]
    if len(shot.characters) > 1:
        found += [Thing(c.name, "character", c.name, c.parts) for c in shot.characters]
    found += [Thing(prop.name, "prop") for prop in shot.props]
    return tuple(found)


def pairs_of(shot: Shot, radii: Mapping[str, float] | None = None) -> tuple[Pair, ...]:
    """The default pairs of a shot. radii: prop name -> meters from its origin to its farthest vertex."""
    things = things_of(shot)
    parts = [t for t in things if t.kind == "part"]
    props = [t for t in things if t.kind == "prop"]
    by_name = {c.name: c for c in shot.characters}
    prop_of = {p.name: p for p in shot.props}
    radius = {p.name: (radii or {}).get(p.name) or p.size / 2.0 or 0.1 for p in shot.props}
    runs = run_slices(shot)
    tallest = max((height_of(c) for c in shot.characters), default=1.7)
    found = []
    for prop in props:
        for part in parts:
            character = by_name[part.character]
            judged = np.ones(shot.count, bool)
            for run in runs:
                if _rides(character, part, prop_of[prop.name], radius[prop.name], run) or (
                    part.name.startswith("arm.")
                    and _held(shot, character, part.name[-1], prop_of[prop.name], radius[prop.name], run)
                ):
                    judged[run] = False
            found.append(Pair(prop, part, judged, height_of(character)))
    for a, b in combinations(props, 2):
        judged = np.ones(shot.count, bool)
        for run in runs:
            apart = np.linalg.norm(prop_of[a.name].origin[run] - prop_of[b.name].origin[run], axis=1)
            if np.ptp(apart) < RIGID * tallest and apart.min() < radius[a.name] + radius[b.name]:
                judged[run] = False
        found.append(Pair(a, b, judged, tallest))
    for head in parts:
        if head.name == "head":
            found += [
                Pair(head, other, np.ones(shot.count, bool), height_of(by_name[head.character]))
                for other in things
                if other.kind == "character" and other.character != head.character
            ]
    return tuple(pair for pair in found if pair.open.any())


def beside_of(pair: Pair, pairs: Sequence[Pair], sample: int) -> list[Thing]:
    """The other parts of b's body that a may overlap at a sample: not the limb that holds it, and none for a head, at
    which every kiss counts."""
    if pair.a.kind != "prop" or pair.b.kind != "part" or pair.b.name == "head":
        return []
    return [
        other.b
        for other in pairs
        if other.a == pair.a and other.b.character == pair.b.character and other.b != pair.b and other.open[sample]
    ]


def run_slices(shot: Shot) -> list[slice]:
    """The runs of one camera; the whole shot where there is none."""
    if shot.camera is None:
        return [slice(0, shot.count)]
    return camera_runs(shot.camera)


def camera_runs(camera: Camera) -> list[slice]:
    cuts = (np.flatnonzero(np.diff(camera.run)) + 1).tolist()
    return [slice(a, b) for a, b in zip([0, *cuts], [*cuts, len(camera.run)], strict=True)]


def height_of(character: Character) -> float:
    """The character's standing height in meters; from the joints at rest where it is not known."""
    if character.height > 0.0:
        return character.height
    both = np.concatenate([character.rest_heads, character.rest_tails]) @ character.up
    return float(np.ptp(both)) or 1.7


def _steady(distances: list[Array], travel: float, height: float) -> bool:
    return travel > MOVED * height and all(float(np.ptp(d)) < RIGID * height for d in distances)


def _rides(character: Character, part: Thing, prop: Prop, radius: float, run: slice) -> bool:
    """Whether the prop is fastened to the part: near it and rigid to it over the whole run, while it moves."""
    height = height_of(character)
    origin = prop.origin[run]
    for name in part.parts:
        if name.startswith(("upper_arm", "forearm", "hand", "thigh", "shin", "foot", "toe")):
            continue
        head, end = character.head(name)[run], character.end(name)[run]
        distances = [np.linalg.norm(origin - p, axis=1) for p in (head, end)]
        travel = float(np.ptp(head, axis=0).max())
        if min(d.min() for d in distances) < radius + GRASP * height and _steady(distances, travel, height):
            return True
    return False


def _held(shot: Shot, character: Character, side: str, prop: Prop, radius: float, run: slice) -> bool:
    """Whether the hand of this side holds the prop somewhere in the run."""
    hand = f"hand.{side}"
    if not character.has(hand):
        return False
    height = height_of(character)
    start, end, origin = character.head(hand)[run], character.end(hand)[run], prop.origin[run]
    along = end - start
    t = np.clip(((origin - start) * along).sum(axis=1) / np.maximum((along * along).sum(axis=1), 1e-12), 0.0, 1.0)
    apart = np.linalg.norm(origin - start - along * t[:, None], axis=1)
    least = max(1, round(HELD * shot.rate))
    near = apart - min(radius, LARGE * height) < GRASP * height
    if any(last - first + 1 >= min(least, len(near)) for first, last in spans(near)):
        return True
    distances = [np.linalg.norm(origin - p, axis=1) for p in (start, end)]
    if character.has(f"forearm.{side}"):
        distances.append(np.linalg.norm(origin - character.head(f"forearm.{side}")[run], axis=1))
    reachable = float(np.min(distances[0])) < radius + 0.25 * height
    window = max(least, 2)
    for first in range(0, max(1, len(origin) - window + 1), max(1, window // 2)):
        part = slice(first, first + window)
        if reachable and _steady([d[part] for d in distances], float(np.ptp(start[part], axis=0).max()), height):
            return True
    return False
