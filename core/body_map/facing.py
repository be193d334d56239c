# SPDX-License-Identifier: GPL-3.0-or-later
"""Which way a figure looks at rest: from ankle to toe, and from the way its knees bend (step 10 of the recipe).

Names tell the sides, and the sides the front, unless both feet plainly point the other way: some riggers call left what
lies left in the picture. Such a rig keeps its names, which its people work with, and faces where its feet do.
"""

from collections.abc import Sequence

import numpy as np

from .skeleton import Array, length_of

#: Cosine to the back over which a foot, toe joints and a drooping tail included, plainly points backward.
PLAINLY = 0.5


def facing(
    lateral: Array, up: Array, feet: Sequence[Array], knees: Sequence[Array], extra: Array | None, named: bool
) -> tuple[Array, bool, bool]:
    """(forward (3,), whether the parts must change sides, whether feet and names disagree).

    lateral (3,): from right to left as far as known; feet: ankle to toe of each leg, m; knees: middle of the straight
    line hip to ankle -> knee, m; extra: trunk direction of a four-legged figure, hip to shoulder. named: whether
    names made the lateral: then the parts keep their sides. Forward, unit, is left x up, turned round where the parts
    change sides or where names are contradicted by both feet.
    """
    forward = np.cross(lateral, up)
    forward = forward / length_of(forward)
    evidence = sum(float(v @ forward) for v in feet) + 0.8 * sum(float(v @ forward) for v in knees)
    if extra is not None:
        evidence += 2 * float(extra @ forward)
    against = evidence < 0
    if named:
        backward = len(feet) > 1 and all(-float(v @ forward) > PLAINLY * length_of(v) for v in feet)
        return (-forward if against and backward else forward), False, against
    return (-forward if against else forward), against, False
