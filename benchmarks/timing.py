# SPDX-License-Identifier: GPL-3.0-or-later
"""What a review costs against what the scene itself costs: CPU seconds of all threads, in one process, interleaved."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from plumbline.blender_addon.sampling import armatures, kisses, routes
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.catalogue import chosen
from plumbline.core.runner import finish, needs_of

#: What reads joints and soles, and no mesh.
JOINTS = ("joint-limit", "overextension", "slip", "linear-span")
#: The checks on which the goals of a whole review were set.
FOUNDING = (*JOINTS, "tangent")


@dataclass(frozen=True)
class Round:
    """CPU seconds of a bare sweep of the scene, of sampling it, and of the checks; frames whose meshes were read."""

    bare: float
    sampling: float
    checks: float
    looked: int

    @property
    def ratio(self) -> float:
        """The whole review over the bare sweep."""
        return (self.sampling + self.checks) / self.bare

    @property
    def share(self) -> float:
        """The core's checks over the sampling."""
        return self.checks / self.sampling


@dataclass(frozen=True)
class Taken:
    """Several rounds; a number is the median of theirs."""

    rounds: tuple[Round, ...]

    def middle(self, what: str) -> float:
        return float(median(getattr(r, what) for r in self.rounds))


def cpu(work: Callable[[], Any]) -> tuple[float, Any]:
    """CPU seconds, user and system, of all threads of this process; and what the work returned."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def _rested(result: Any) -> Any:
    """The result, once threads that its making woke have stopped to spin: that is part of its own cost, not of what is
    timed next."""
    time.sleep(0.06)
    return result


@dataclass(frozen=True)
class Review:
    """One review to time: its checks (None: all), and what is done to the scene before it, untimed. stepped: every
    frame is evaluated by Blender, also where the keys alone would tell the motion."""

    checks: Sequence[str] | None = None
    prepare: Callable[[], None] = lambda: None
    stepped: bool = False


def take(
    scene: Any,
    reviews: Sequence[Review],
    rounds: int,
    tell: Callable[[str, list[Taken]], None] = lambda text, so_far: None,
) -> list[Taken]:
    """In each round a bare ``frame_set`` sweep over the scene's range, then each review of it in turn.

    tell: called after each round with a line about it and all that was taken so far."""
    frames = range(scene.frame_start, scene.frame_end + 1)
    looked: set[int] = set()

    def bare() -> None:
        for frame in frames:
            scene.frame_set(frame)

    def count(looks: Any, which: Any, sample: int, *rest: Any) -> Any:
        looked.add(sample)
        return look(looks, which, sample, *rest)

    look, kisses.Looks.look = kisses.Looks.look, count
    fewest = routes.FEWEST
    try:
        # what is paid once a process: imports, first use
        judged = chosen(None)
        last = min(scene.frame_end, scene.frame_start + 11)
        finish(sweep_now(scene, Request(needs=needs_of(judged), first=scene.frame_start, last=last)), judged)
        out: list[list[Round]] = [[] for _ in reviews]
        for number in range(rounds):
            alone, _ = cpu(bare)
            for row, review in zip(out, reviews, strict=True):
                review.prepare()
                looked.clear()
                armatures._found.clear()  # every review finds its body map anew
                judged = chosen(None if review.checks is None else list(review.checks))
                request = Request(needs=needs_of(judged))
                routes.FEWEST = max(fewest, len(frames) + 1_000) if review.stepped else fewest
                sampling, shot = cpu(lambda request=request: _rested(sweep_now(scene, request)))
                checking, result = cpu(lambda shot=shot, judged=judged: finish(shot, judged))
                if result.failed:
                    raise RuntimeError(f"{result.failed[0].check} failed: {result.failed[0].error}")
                row.append(Round(alone, sampling, checking, len(looked)))
            told = ", ".join(f"{row[-1].ratio:.3f}" for row in out)
            so_far = [Taken(tuple(row)) for row in out]
            tell(f"round {number + 1} of {rounds}: bare {alone:.2f} s, reviewed for {told} of it", so_far)
    finally:
        kisses.Looks.look, routes.FEWEST = look, fewest
    return [Taken(tuple(row)) for row in out]
