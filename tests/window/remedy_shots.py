# SPDX-License-Identifier: GPL-3.0-or-later
"""Shots for remedies.py: the keeper's with one planted fault of spacing each, two clips keyed anew with one, and the
keeper's faulty take for what it alone has.

    python -m tests.window.remedy_shots FOLDER
"""

import os
import sys
from pathlib import Path

import bpy
from plumbline.core.testing import corpus
from plumbline.core.testing.plant_locks import locks
from plumbline.core.testing.plant_snaps import snaps
from plumbline.core.testing.plants import prepared
from plumbline.sample_scenes import keeper_faults

from ..blender import planted_keys
from ..corpus import keyed_stage


def main(folder: Path) -> None:
    jump = prepared(corpus.proxy("humanoid3d_jump"))
    for check in (*planted_keys.PLANTED, "stuck-in-space", "pop", "off-balance"):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        if check in planted_keys.PLANTED:
            planted_keys.build(check)
        elif check == "off-balance":
            keeper_faults.build()
        else:
            case = next(c for c in (snaps if check == "pop" else locks)(jump) if c.size == "middle")
            keyed_stage.build(case.shot, jump.shot)
        bpy.ops.wm.save_as_mainfile(filepath=str(folder / f"remedy-{check}.blend"), compress=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
