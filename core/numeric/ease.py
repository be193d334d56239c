# SPDX-License-Identifier: GPL-3.0-or-later
"""Re-timing of a move: the same poses, other spacing."""
import numpy as np

Array = np.ndarray


def eased_time(n: int, speed_in: float, speed_out: float) -> Array:
    """Warped times (n + 1,) from 0 to n whose speed is ``speed_in`` at the start and ``speed_out`` at the end.

    Speeds are shares of the even one (1 keeps it). A cubic in time with those end slopes; end speeds are held under 3,
    up to which the cubic never runs backwards.
    """
    a, b = np.clip((speed_in, speed_out), 0.0, 3.0)
    s = np.linspace(0.0, 1.0, n + 1)
    return n * (s * s * (3 - 2 * s) + a * s * (1 - s) ** 2 - b * s * s * (1 - s))
