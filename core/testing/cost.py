# SPDX-License-Identifier: GPL-3.0-or-later
"""What a piece of work costs, told so that a busy or a slow machine does not change the answer."""

import time
from collections.abc import Callable
from statistics import median
from typing import Any

import numpy as np

#: Thread CPU seconds of one yardstick on the two cores on which docs/speed.md was measured.
USUAL = 0.0040


def seconds(work: Callable[[], Any], rounds: int = 5) -> float:
    """The CPU seconds that ``work`` takes on a quiet machine like the one of docs/speed.md.

    Each time a yardstick is timed right before and after; the median of the shares counts: what else runs makes both
    dearer alike. Only this thread's time counts: the library of linear algebra lets idle threads spin, which is no
    work.
    """
    shares = []
    before = _timed(_yardstick)
    for _ in range(rounds):
        own, after = _timed(work), _timed(_yardstick)
        shares.append(own / (before + after))
        before = after
    return median(shares) * 2.0 * USUAL


def pace() -> float:
    """How many times as fast as the machine of docs/speed.md this thread is just now."""
    return USUAL / min(_timed(_yardstick) for _ in range(3))


def _timed(work: Callable[[], Any]) -> float:
    started = time.thread_time()
    work()
    return time.thread_time() - started


def _yardstick() -> float:
    """Sums and products over the frames of a shot and small Python steps between them, as measures are made of."""
    rows = np.linspace(0.0, 1.0, 3000).reshape(3, 1000)
    total = 0.0
    for step in range(220):
        moved = np.sqrt(rows[0] * rows[1] + rows[2] * rows[2] + step)
        total += float(moved.max()) + sum(k * k for k in range(20))
    return total
