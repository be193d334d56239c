# SPDX-License-Identifier: GPL-3.0-or-later
"""Which way a figure looks at rest: from ankle to toe, and from the way its knees bend (step 10 of the recipe)."""

from collections.abc import Sequence

import numpy as np

from .skeleton import Array


def facing(
    lateral: Array, up: Array, feet: Sequence[Array], knees: Sequence[Array], extra: Array | None, named: bool
) -> tuple[Array, bool, bool]:
    """(forward (3,), whether the lateral must be turned round, whether feet and names disagree).

    lateral (3,): from right to left as far as known; feet: ankle to toe of each leg, m; knees: middle of the straight
    line hip to ankle -> knee, m; extra: trunk direction of a four-legged figure, hip to shoulder. named: whether
    names made the lateral, and so decide. Forward = left x up, unit.
    """
    forward = np.cross(lateral, up)
    forward = forward / np.linalg.norm(forward)
    evidence = sum(float(v @ forward) for v in feet) + 0.8 * sum(float(v @ forward) for v in knees)
    if extra is not None:
        evidence += 2 * float(extra @ forward)
    against = evidence < 0
    if named:
        return forward, False, against
    return (-forward if against else forward), against, False
