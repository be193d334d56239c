# SPDX-License-Identifier: GPL-3.0-or-later
"""A figure whose units nobody can know: what speaks in meters is silent and says so, until a card gives the height."""

import warnings
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.card import Card
from plumbline.core.catalogue import chosen
from plumbline.core.runner import finish, needs_of
from plumbline.core.shot import Shot

from .figure import boots, box, figure, walk

#: All but those that speak in degrees, in shares of a limb, or in pixels.
METRIC = {check.name for check in chosen(None)} - {"joint-limit", "overextension", "pop", "tangent"}


def measured(scene: Any, **request: Any) -> tuple[Shot, dict[str, list[str]]]:
    """The shot, and by check the reasons for which it was skipped."""
    checks = chosen(None)
    shot = sweep_now(scene, Request(needs_of(checks), **request))
    result = finish(shot, checks)
    assert not result.failed
    out: dict[str, list[str]] = {}
    for skip in result.skipped:
        out.setdefault(skip.check, []).append(skip.why)
    return shot, out


def unsized(skipped: dict[str, list[str]]) -> set[str]:
    return {check for check, reasons in skipped.items() if any("states no height" in r for r in reasons)}


def centimeters(tmp_path: Any) -> Any:
    """A fresh scene with the walking figure read back from a BVH file in centimeters."""
    rig = bpy.context.scene.objects["Keeper"]
    bpy.context.view_layer.objects.active = rig
    path = str(tmp_path / "keeper.bvh")
    bpy.ops.export_anim.bvh(filepath=path, frame_start=1, frame_end=30, global_scale=100.0)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # Blender's importer leaves the file to be closed for it
        bpy.ops.import_anim.bvh(filepath=path)
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 30
    return scene


def test_a_bvh_in_centimetres(scene: Any, rig: Any, tmp_path: Any) -> None:
    scene = centimeters(tmp_path)
    shot, skipped = measured(scene)
    (character,) = shot.characters
    assert len(character.parts) == 21 and 150 < character.height < 190
    assert unsized(skipped) == METRIC
    assert any(f"the figure is {character.height:.3g} m tall" in why for why in skipped["slip"])
    shot, skipped = measured(scene, cards={"": Card(height=1.77)})
    assert unsized(skipped) == set()
    assert shot.characters[0].leg_length * shot.characters[0].real_size == pytest.approx(0.842, abs=0.02)
    scene.unit_settings.scale_length = 0.01
    shot, skipped = measured(scene)
    assert unsized(skipped) == set() and shot.characters[0].height == pytest.approx(1.77, abs=0.03)


@pytest.mark.parametrize(("scale", "known"), [(0.2, False), (0.25, True), (1.6, True), (1.8, False)])
def test_the_bounds_are_forty_centimetres_and_three_metres(scene: Any, rig: Any, scale: float, known: bool) -> None:
    rig.scale = (scale, scale, scale)
    shot, skipped = measured(scene)
    assert (0.4 <= shot.characters[0].height <= 3.0) == known
    assert unsized(skipped) == (set() if known else METRIC)


@pytest.mark.parametrize(("top", "told"), [(1.8, 1.8), (1.0, 4.1), (9.0, 4.1)])
def test_tails_that_an_importer_guessed_do_not_make_a_giant(scene: Any, rig: Any, top: float, told: float) -> None:
    """Formats that know joints alone leave the tails of the last bones to the importer: the skin knows better, where it
    spans the joints and is no hat or hair that towers over them."""
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    bones = rig.data.edit_bones
    bones["head"].tail.z = 3.1
    for side in "LR":
        bones[f"shin.{side}"].tail.z = -1.0
    bpy.ops.object.mode_set(mode="OBJECT")
    skin = box("Skin", (-0.3, -0.2, 0.0), (0.3, 0.2, top))
    skin.parent = rig
    skin.modifiers.new("Armature", "ARMATURE").object = rig
    skin.vertex_groups.new(name="chest").add(list(range(8)), 1.0, "REPLACE")
    (character,) = measured(scene)[0].characters
    assert character.height == pytest.approx(told, abs=0.01)


def _skate(scene: Any, scale: float) -> float:
    """The drift that slip tells of a figure whose root glides 6 real cm while it stands."""
    rig = figure("Skater")
    boots(rig)
    for f, y in ((1, 0.0), (12, 0.0), (20, -0.06), (30, -0.06)):
        rig.pose.bones["root"].location.y = y
        rig.pose.bones["root"].keyframe_insert("location", frame=f)
    rig.scale = (scale, scale, scale)
    checks = chosen(["slip"])
    shot = sweep_now(scene, Request(needs_of(checks), cards={} if scale == 1.0 else {"": Card(height=1.77)}))
    result = finish(shot, checks)
    assert {n.part for n in result.notes} >= {"foot.L"} or {n.part for n in result.notes} >= {"foot.R"}
    return max(n.measured for n in result.notes)


def test_a_card_with_a_height_gives_real_metres(scene: Any) -> None:
    life = _skate(scene, 1.0)
    bpy.data.objects.remove(bpy.data.objects["Skater"])
    bpy.data.objects.remove(bpy.data.objects["Boots"])
    toy = _skate(scene, 0.1)
    assert life == pytest.approx(0.06, abs=0.012)
    assert toy == pytest.approx(life, rel=0.02)
    assert np.isfinite(toy)


def test_a_walk_ten_times_too_large_reads_as_itself_under_a_card(scene: Any) -> None:
    rig = figure()
    walk(rig)
    life = sweep_now(scene, Request(needs_of(chosen(None)))).characters[0]
    rig.scale = (10.0, 10.0, 10.0)
    giant = sweep_now(scene, Request(needs_of(chosen(None)), cards={"Keeper": Card(height=life.height)})).characters[0]
    assert giant.real_size == pytest.approx(0.1, rel=1e-3)
    np.testing.assert_allclose(giant.heads * giant.real_size, life.heads, atol=1e-4)
