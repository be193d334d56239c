# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedies of balance carried out in Blender on one keyed clip: gone, and nothing else comes. remedy_law does it on
all."""

from collections.abc import Iterator

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import registration
from plumbline.core.testing import corpus
from plumbline.core.testing.plants import SIZES, Clean, prepared
from plumbline.core.testing.rekey import rekeyed

from .remedy_law import FAMILIES, Tally, judge


@pytest.fixture(scope="module")
def clean() -> Iterator[Clean]:
    registration.register()
    yield prepared(rekeyed(corpus.at_24("test_freebvh")))
    registration.unregister()


@pytest.mark.parametrize("check", ["off-balance", "undriven-move", "hard-landing"])
def test_carried_out_the_note_is_gone_and_no_other_comes(check: str, clean: Clean) -> None:
    for case in FAMILIES[check](clean):
        if case.size != SIZES[2]:
            continue
        tally = Tally()
        judge(case, clean, tally)
        assert tally.seen == tally.done == tally.gone == 1 and not tally.raised, (case.name, tally)


def test_the_foot_in_the_air_goes_with_the_hips_and_the_other_one_stays(clean: Clean) -> None:
    case = next(c for c in FAMILIES["off-balance"](clean) if c.size == SIZES[2])
    judge(case, clean, Tally())
    row = sum(case.window) // 2
    bpy.context.scene.frame_set(case.shot.frame(row))
    rig = next(o for o in bpy.context.scene.objects if o.type == "ARMATURE")
    c = case.shot.characters[0]
    stands, hangs = sorted(("foot.L", "foot.R"), key=lambda part: float(c.head(part)[row, 2]))
    hips, still, along = (np.array(rig.matrix_world @ rig.pose.bones[part].head) - c.head(part)[row]
                          for part in ("pelvis", stands, hangs))
    assert np.linalg.norm(hips) > 0.2 and np.abs(still).max() < 2e-3
    assert np.abs((along - hips)[:2]).max() < 0.05 * np.linalg.norm(hips)
