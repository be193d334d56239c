# SPDX-License-Identifier: GPL-3.0-or-later
"""What the checks of some lanes cost in the core, with every measure that they stand on."""

from typing import Any

from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.catalogue import catalogue
from plumbline.core.runner import finish, needs_of
from plumbline.core.testing import cost

#: Lanes that were given a cost together -> CPU seconds that they may take for 1,000 frames of one figure.
GOALS = {("Contacts", "Balance"): 0.15, ("Spacing", "Arcs"): 0.15}


def costs(scene: Any) -> dict[tuple[str, ...], float]:
    """CPU seconds of the core for what is in the scene, on a quiet machine."""
    out = {}
    for lanes in GOALS:
        checks = [check for check in catalogue().values() if check.lane in lanes]
        shot = sweep_now(scene, Request(needs=needs_of(checks)))
        result = finish(shot, checks)
        if result.failed:
            raise RuntimeError(f"{result.failed[0].check} failed: {result.failed[0].error}")
        out[lanes] = cost.seconds(lambda shot=shot, checks=checks: finish(shot, checks), 9)
    return out
