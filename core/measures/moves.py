# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves, holds and stops of each part, by its turn and by its path, the same at every frame rate.

Above 36 drawings a second the rests between moves are cut up by noise, and an eased stop has no last step to speak of:
there each of the k phases of every k-th drawing is read, 24 to 30 a second, and what any phase finds counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import ceil, sqrt

import numpy as np

from ..numeric import moves as numeric
from ..numeric.moves import Move
from ..shot import Character
from ..study import Study, measure
from .paths import paths
from .turn import Motion, Signal, turn

Array = np.ndarray

#: Drawings a second at which moves are read.
RATE = 24.0
#: What is slower than this, legs a second, rests; and what never gets faster than this is no move.
REST, LEAST = 0.06, 0.25
#: A rest of so many seconds after a move makes it a stop. 0.1 s is 3 steps at 24, 25 and 30 alike.
REST_SECONDS = 0.10
#: Speeds that white noise of one drawing makes, in units of the noise times the rate, and twice that to be beyond it.
NOISE_SPEED = sqrt(6.0)
#: True stillness, legs a second, as of a keyed hold; noise knows none.
STILL = 3e-4
#: Steps under a tenth of the peak, at RATE, that are looked through for the key at which an eased move begins or ends.
EASES = 6
#: A move settles where it is still moved by this share of its travel within so many seconds after its stop.
SETTLES, SETTLE_SECONDS = 0.03, 0.25


@dataclass(frozen=True)
class Moves:
    """All moves of a character, each signal read when it is first asked for.

    turns, paths: the signals; stride: every so many drawings are read. Indices in the moves are drawings of the
    signals, both for turns and for paths.
    """

    turns: Motion
    paths: Motion
    stride: int
    _known: dict[tuple[str, str], tuple[Move, ...]] = field(default_factory=dict, compare=False, repr=False)

    def of(self, part: str, kind: str = "turn") -> tuple[Move, ...]:
        """The part's moves in order of time, none where it has no such signal. kind: 'turn', 'path', 'goal'."""
        if (part, kind) not in self._known:
            signal = self.signal(part, kind)
            self._known[part, kind] = () if signal is None else moves_of(signal, self.stride)
        return self._known[part, kind]

    def signal(self, part: str, kind: str = "turn") -> Signal | None:
        return (self.paths if kind == "path" else self.turns).of(part, kind)


@measure(uses=(turn, paths))
def moves(study: Study, character: Character) -> Moves:
    motion: Motion = study.of(turn, character)
    traveled: Motion = study.of(paths, character)
    return Moves(motion, traveled, stride_of(study.shot.times[motion.drawings]))


def stride_of(times: Array) -> int:
    """Every so many drawings, at these seconds (D,), are 24 to 36 a second: 1 up to 36 a second, 2 at 60, 5 at 120."""
    if len(times) < 2:
        return 1
    return max(1, ceil(1.0 / (RATE * _median(np.diff(times))) - 0.5 - 1e-6))


def phases(signal: Signal, stride: int) -> list[Signal]:
    """The signal on each phase of every ``stride``-th drawing: phase p begins at drawing p. Turns are added up as
    vectors, which over a 24th of a second they are to within what the checks ask."""
    if stride == 1:
        return [signal]
    out = []
    path = np.concatenate([np.zeros((1, 3)), np.cumsum(signal.steps, axis=0)])
    time = np.concatenate([[0.0], np.cumsum(signal.seconds)])
    for p in range(min(stride, len(path) - 1)):
        seconds = np.diff(time[p::stride])
        if len(seconds):
            out.append(Signal(signal.part, signal.kind, np.diff(path[p::stride], axis=0) / seconds[:, None], seconds))
    return out


def floor_of(signal: Signal) -> float:
    """Legs a second under which the signal rests: REST, or twice what its own noise alone makes."""
    return max(REST, 2 * signal.noise * NOISE_SPEED * rate_of(signal))


def rate_of(signal: Signal) -> float:
    """Drawings a second."""
    return 1.0 / _median(signal.seconds) if len(signal.seconds) else RATE


def _median(values: Array) -> float:
    """As numpy's, which takes ten times as long for a row of a shot's length."""
    ordered, n = np.sort(values), len(values)
    return float(ordered[(n - 1) // 2] + ordered[n // 2]) / 2


def rest_steps(rate: float) -> int:
    """How many steps at ``rate`` a second make a rest."""
    return max(1, ceil(REST_SECONDS * rate - 1e-6))


def moves_of(signal: Signal, stride: int) -> tuple[Move, ...]:
    """The moves of one signal, indices by its own drawings."""
    if not len(signal.speed):
        return ()
    found: list[Move] = []
    for p, phase in enumerate(phases(signal, stride)):
        floor, rate = floor_of(phase), rate_of(phase)
        some = numeric.moves(phase.speed, 1.0 / rate, floor, max(LEAST, 2 * floor), rest_steps(rate))
        found += some if stride == 1 else [_spread(m, p, stride) for m in some]
    if stride > 1:
        found = _united(found, stride)
    return tuple(_edged(found, signal, stride))


def _spread(move: Move, phase: int, stride: int) -> Move:
    """A move of one phase, told in the signal's own drawings."""
    return replace(move, first=phase + stride * move.first, last=phase + stride * move.last,
                   peak=phase + stride * move.peak, start=phase + stride * move.start, stop=phase + stride * move.stop)


def _united(found: Sequence[Move], stride: int) -> list[Move]:
    """One move of those that several phases tell: of each the phase in which the stop is hardest, since a stop on a
    drawing that a phase leaves out looks soft in it."""
    kept: list[Move] = []
    for move in sorted(found, key=lambda m: (not m.stops, -m.last_share)):
        shared = [min(move.last, k.last) - max(move.first, k.first) for k in kept]
        if not any(s > 0.5 * min(move.last - move.first, k.last - k.first) for s, k in zip(shared, kept, strict=True)):
            kept.append(move)
    return sorted(kept, key=lambda m: m.first)


def _edged(found: Sequence[Move], signal: Signal, stride: int) -> list[Move]:
    """The moves with their ends carried on to where the signal rests altogether, if it does."""
    speeds: list[float] = signal.speed.tolist()
    count, most = rest_steps(RATE) * stride, (EASES + 1) * stride - 1
    out = []
    for i, move in enumerate(found):
        # of what a phase tells up to stride - 1 drawings may be rest already
        back = numeric.to_rest(speeds, min(move.first + stride - 1, move.last - 1), -1, STILL, count, most)
        on = numeric.to_rest(speeds, max(move.last - stride + 1, move.first + 1), 1, STILL, count, most)
        before = found[i - 1].last if i else 0
        after = found[i + 1].first if i + 1 < len(found) else len(speeds)
        first = move.first if back is None else max(back, min(before, move.first))
        last = move.last if on is None else min(on, max(after, move.last))
        seconds = float(signal.seconds[first:last].sum())
        travel = float(signal.speed[first:last] @ signal.seconds[first:last])
        out.append(replace(move, first=first, last=last, travel=travel, mean=travel / seconds))
    return out


def settle(signal: Signal, move: Move) -> tuple[float, float]:
    """(overshoot, settle) after a move, as shares of its travel: how far it goes on beyond where it has arrived, the
    way it came, and how far it is moved from there at all, within SETTLE_SECONDS."""
    time = np.cumsum(signal.seconds[move.last :])
    steps = signal.steps[move.last :][time <= SETTLE_SECONDS + 1e-6]
    arrival = signal.velocity[move.last - 1]
    size = float(np.linalg.norm(arrival))
    if not len(steps) or size == 0 or move.travel <= 0:
        return 0.0, 0.0
    away = np.cumsum(steps, axis=0)
    beyond = float((away @ (arrival / size)).max())
    return max(0.0, beyond) / move.travel, float(np.linalg.norm(away, axis=-1).max()) / move.travel
