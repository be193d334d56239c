# SPDX-License-Identifier: GPL-3.0-or-later
"""Masses by the room of a figure's own mesh, and things that it holds by their weight, as the scene has them."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.measures.mass import masses
from plumbline.core.measures.mass_held import held_loads
from plumbline.core.measures.mass_motion import mass_motion, told
from plumbline.core.need import Need
from plumbline.core.shot import Shot
from plumbline.core.study import Study
from plumbline.core.testing.pods import pod

from ..skinned import skin
from .figure import box, key, rows

WEIGHT = Need.JOINTS | Need.ROTATIONS | Need.PROPS | Need.VOLUMES
#: Radii of the pods about each bone, m.
ROUND = {"head": 0.1, "chest": 0.14, "spine": 0.13, "pelvis": 0.14, "thigh": 0.08, "shin": 0.06}


def _clothed(scene: Any, rig: Any, head: float) -> tuple[Any, dict[str, float]]:
    """A skin of closed pods on the rig, the head's of this radius, and the pods' volumes in m3."""
    pods, volumes = {}, {}
    for name, _, start, stop in rows():
        if name != "root":
            base = name.partition(".")[0]
            radius = head if base == "head" else ROUND.get(base, 0.04)
            places, faces = pod(np.array(start, float), np.array(stop, float), radius)
            pods[name] = (places, faces)
            volumes[name] = _volume(places, faces)
    return skin(scene, rig, pods), volumes


def _volume(places: np.ndarray, faces: list[tuple[int, ...]]) -> float:
    """By the divergence theorem, each face a fan."""
    total = 0.0
    for face in faces:
        for i in range(1, len(face) - 1):
            a, b, c = (places[face[k]] for k in (0, i, i + 1))
            total += float(np.dot(a, np.cross(b, c))) / 6
    return abs(total)


def _swept(scene: Any, needs: Need = WEIGHT) -> Shot:
    shot = sweep_now(scene, Request(needs))
    assert len(shot.characters) == 1
    return shot


def test_a_large_head_is_weighed_by_its_own_room(scene: Any, rig: Any) -> None:
    _, volumes = _clothed(scene, rig, 0.26)
    shot = _swept(scene)
    c = shot.characters[0]
    found = Study(shot).of(masses, c)
    assert c.skin is not None and "the volume of its mesh" in found.source and found.guessed
    share = found.mass[found.parts.index("head")] / found.total
    # the neck's pod lies inside the head's ball, which counts once
    assert share == pytest.approx(volumes["head"] / sum(volumes.values()), abs=0.06) and share > 0.3
    center = Study(shot).of(mass_motion, c).center[0]
    assert center[2] > c.head("chest")[0, 2]


def test_people_keep_the_table_and_are_not_weighed(scene: Any, rig: Any) -> None:
    _clothed(scene, rig, 0.1)
    c = _swept(scene).characters[0]
    assert c.skin is None
    assert "de Leva" in Study(_swept(scene)).of(masses, c).source


def test_half_a_body_that_a_modifier_mirrors_is_not_weighed(scene: Any, rig: Any) -> None:
    made, _ = _clothed(scene, rig, 0.34)
    made.modifiers.new("Mirror", "MIRROR")
    assert _swept(scene).characters[0].skin is None


def test_what_no_render_shows_and_what_was_not_asked_for_is_not_weighed(scene: Any, rig: Any) -> None:
    made, _ = _clothed(scene, rig, 0.34)
    assert _swept(scene, WEIGHT & ~Need.VOLUMES).characters[0].skin is None
    made.hide_render = True
    assert _swept(scene).characters[0].skin is None


def _lantern(rig: Any) -> Any:
    """A lantern in the left hand, carried by its bone."""
    lantern = box("Lantern", (-0.05, -0.05, -0.1), (0.05, 0.05, 0.1))
    lantern.parent, lantern.parent_type, lantern.parent_bone = rig, "BONE", "hand.L"
    return lantern


def test_a_lantern_with_a_weight_counts_with_the_hand_that_holds_it(scene: Any, rig: Any) -> None:
    for frame, turn in ((1, 0.0), (16, 0.8), (30, 0.0)):
        key(rig, "upper_arm.L", "rotation_euler", frame, (turn, 0.2, 0.0))
    lantern = _lantern(rig)
    assert not _swept(scene).props, "what hangs on a bone is a piece of the body, unless somebody says otherwise"
    lantern["plumbline_mass"] = 6.0
    shot = _swept(scene)
    c = shot.characters[0]
    (prop,) = shot.props
    (load,) = Study(shot).of(held_loads, c)
    assert (prop.name, prop.mass, load.mass) == ("Lantern", 6.0, 6.0) and load.held.all()
    with_it, without = (Study(s).of(mass_motion, c) for s in (shot, shot.only(Need.JOINTS | Need.ROTATIONS)))
    total = float(without.mass[0])
    assert np.allclose(with_it.mass, total + 6.0)
    expected = (without.center * total + prop.origin * 6.0) / (total + 6.0)
    np.testing.assert_allclose(with_it.center, expected, atol=1e-9)
    assert told(Study(shot), c).endswith("with Lantern (6 kg) held")


@pytest.mark.parametrize("weight", [0.0, -2.0, "heavy", True, float("inf")])
def test_a_weight_that_is_none_is_said(scene: Any, rig: Any, weight: Any) -> None:
    _lantern(rig)["plumbline_mass"] = weight
    shot = _swept(scene)
    assert not shot.props
    assert any("Lantern has no weight" in remark for remark in shot.remarks)


def test_a_weight_that_is_unmarked_as_prop_stays_with_the_body(scene: Any, rig: Any) -> None:
    lantern = _lantern(rig)
    lantern["plumbline_mass"], lantern["plumbline_prop"] = 3.0, False
    assert not _swept(scene).props and bpy.data.objects["Lantern"] is lantern
