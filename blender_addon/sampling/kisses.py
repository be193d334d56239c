# SPDX-License-Identifier: GPL-3.0-or-later
"""The second pass over a shot: outlines of evaluated meshes in its camera, reduced at once, never stored.

Few frames are looked at: those at which the poses say that two things may come near each other in the picture, every
third of them at 24 frames a second, then the frames around a kiss. Where it goes on smoothly the frames between two
looks are worked out, and only its nearest frame and those beside it are looked at as well. Only where a kiss holds long
enough, and something of the rest of the scene may stand before it, is that evaluated too, to see whether it hides the
place.
"""

from collections.abc import Generator, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from ...core.kiss import Kiss, Kisses, PairKisses, Thing
from ...core.measures.kiss_between import told
from ...core.measures.kiss_pairs import Pair, beside_of, camera_runs, pairs_of
from ...core.measures.kisses import (
    Track,
    boxes_of,
    closer_look,
    first_look,
    follow,
    gate,
    held,
    meet,
    second_look,
    stride,
    things_in,
    views_of,
)
from ...core.numeric.kissing import BEHIND, NEAR_GAP, kisses
from ...core.numeric.picture import Picture
from ...core.shot import Shot
from ...core.steps import within
from .armatures import Member
from .figures import Figures
from .hiders import Asked, Sets, hiders
from .probe import Probe

Array = np.ndarray

#: Seconds that a kiss must hold before the rest of the scene is asked whether it hides it.
HOLDS = 0.25
#: Pairs that pass the gate in one step of the work.
_AT_ONCE = 16
#: Vertices from which on reading a mesh is a step of its own.
_HEAVY = 20_000
#: How often the nearest frame of a kiss, the one beside which is looked, may turn out to be another.
ROUNDS = 3


def sweep_kisses(
    inside: Probe, aside: Probe, scene: Any, shot: Shot, members: Sequence[Member]
) -> Generator[float, None, Kisses]:
    """The kisses of the shot's default pairs; yields the part done, 0 to 1.

    inside: the temporary scene, in which the shot's poses and cameras were read; meshes are linked into it only where a
    pair may kiss at all. aside: another, still empty, for the places of what may hide a kiss. members: the cast that
    the shot's characters were made of.
    """
    if shot.camera is None:
        return Kisses((), ())
    return (yield from Looks(Figures(inside, scene, shot, members), aside).run())


class Looks:
    """The looks at a shot's pairs, and what they found: by the row of a pair, sample -> its kisses. ``told``: in the
    same way, what was worked out for samples that nobody looked at."""

    def __init__(self, figures: Figures, aside: Probe) -> None:
        self.figures, self.shot, self._aside = figures, figures.shot, aside
        self.pairs: Sequence[Pair] = pairs_of(
            self.shot, {prop.name: figures.reach_of(prop.name) for prop in self.shot.props}
        )
        self.found: list[dict[int, list[Kiss]]] = [{} for _ in self.pairs]
        self.told: list[dict[int, list[Kiss]]] = [{} for _ in self.pairs]
        self._views = views_of(self.shot.camera, self.shot.count) if self.pairs else ()
        self._boxes: dict[Thing, Array] = {}
        self._thirds: dict[tuple[int, int], list[int]] = {}  # row of a pair, how many things are built -> all others

    def run(self) -> Generator[float, None, Kisses]:
        if not self.pairs:
            return Kisses((), tuple(dict.fromkeys(self.figures.remarks)))
        boxes = yield from self._boxed(things_in(self.pairs), self.figures.guesses())
        passed = yield from self._gated(boxes)
        if passed.any():
            passed = yield from self._build(passed)
        first = first_look(passed, self.shot.rate)
        for n, sample in enumerate(first.tolist()):
            for _ in self.look(np.flatnonzero(passed[:, sample]), sample):
                yield 0.05 + 0.45 * n / len(first)
        hits = self._looked(passed, kissing=True)
        again = second_look(passed, hits, self.shot.rate, (yield from self._tell(passed)))
        second = np.flatnonzero(again.any(axis=0))
        for n, sample in enumerate(second.tolist()):
            for _ in self.look(np.flatnonzero(again[:, sample]), sample):
                yield 0.5 + 0.35 * n / len(second)
        for turn in range(ROUNDS):
            closer = yield from self._closer(passed)
            for n, sample in enumerate(sorted(closer)):
                for _ in self.look(np.array(sorted(closer[sample])), sample):
                    yield 0.85 + 0.05 * (turn + n / len(closer)) / ROUNDS
            if not closer:
                break
        yield from self._hide()
        return Kisses(
            tuple(PairKisses(pair.a, pair.b, self._kisses_of(p)) for p, pair in enumerate(self.pairs)),
            tuple(dict.fromkeys(self.figures.remarks)),
        )

    def _boxed(
        self, things: Sequence[Thing], radii: Mapping[Thing, float]
    ) -> Generator[float, None, dict[Thing, Array]]:
        """The boxes that things lie in, by how far they reach."""
        found = {}
        for thing, boxes in boxes_of(self.shot, things, radii, self._views):
            found[thing] = boxes
            yield 0.02
        return found

    def _gated(self, boxes: Mapping[Thing, Array]) -> Generator[float, None, Array]:
        """``gate``, some pairs at a time."""
        passed = np.zeros((len(self.pairs), self.shot.count), bool)
        for p in range(0, len(self.pairs), _AT_ONCE):
            passed[p : p + _AT_ONCE] = gate(self.shot, self.pairs[p : p + _AT_ONCE], boxes)
            yield 0.02
        return passed

    def _build(self, passed: Array) -> Generator[float, None, Array]:
        """Builds what the pairs that pass (P, F) are of, and gates again by how far it really reaches."""
        figures = self.figures
        needed = dict.fromkeys(t for p, pair in enumerate(self.pairs) if passed[p].any() for t in (pair.a, pair.b))
        for _ in figures.build(needed, int(np.flatnonzero(passed.any(axis=0))[0])):
            yield 0.02
        for t in needed:
            if t not in figures.topologies:
                what = f"the {t.name} of {t.character}" if t.kind == "part" else t.name
                figures.remarks.append(f"{what} has no surface that a render shows, so it has no outline")
        self.pairs = [p for p in self.pairs if p.a in figures.topologies and p.b in figures.topologies]
        self.found, self.told = [{} for _ in self.pairs], [{} for _ in self.pairs]
        reaches = yield from within(figures.reaches(), 0.02, 0.02)
        self._boxes = yield from self._boxed(figures.things, reaches)
        return (yield from self._gated(self._boxes))

    def look(self, which: Array, sample: int, sets: Sets | None = None) -> Iterator[None]:
        """Looks at some pairs, by their rows, on a sample, and yields after Blender's evaluation, after each heavy mesh
        and after each pair; sets: the rest of the scene, where it is to count too."""
        seen = self._views[sample]
        if seen is None:
            return
        figures = self.figures
        if figures.go(sample):
            yield
        things = list(figures.topologies)
        index = {t: n for n, t in enumerate(things)}
        extra = [] if sets is None else sets.at(figures.graph, self._asked(which, sample))
        tops = [*figures.topologies.values(), *(top for top, _ in extra)]

        def read(n: int) -> Any:
            return figures.flat(things[n], seen) if n < len(things) else extra[n - len(things)][1]

        boxes = np.full((len(things), max(self._boxes[t].shape[1] for t in things), 4), np.nan)
        for n, t in enumerate(things):
            boxes[n, : self._boxes[t].shape[1]] = self._boxes[t][sample]

        others = [True] * len(extra)  # of the rest of the scene only what may hide a place is here at all

        def may_meet(box: Array) -> Any:
            return [*np.asarray(meet(boxes, box).any(axis=1)).tolist(), *others]

        picture = Picture(seen, tops, read, may_meet)
        for p in which.tolist():
            pair = self.pairs[p]
            if (p, len(things)) not in self._thirds:
                rows = [n for t, n in index.items() if t.kind != "character" and not _in_pair(t, pair)]
                self._thirds[p, len(things)] = rows
            thirds = [*self._thirds[p, len(things)], *range(len(things), len(tops))]
            beside = [index[t] for t in beside_of(pair, self.pairs, sample) if t in index]
            for number in (index[pair.a], index[pair.b], *beside):
                if len(tops[number].vertices) > _HEAVY and not picture.has(number):
                    picture.box(number)
                    yield
            some = kisses(picture, index[pair.a], index[pair.b], thirds, pair.height, beside)
            self.found[p][sample] = [k.at(sample) for k in some]
            yield

    def _looked(self, passed: Array, kissing: bool = False) -> Array:
        """(P, F) where a pair was looked at; kissing: only where it kisses."""
        looked = np.zeros_like(passed)
        for row, found in zip(looked, self.found, strict=True):
            row[[sample for sample, some in found.items() if some or not kissing]] = True
        return looked

    def _tell(self, passed: Array) -> Generator[float, None, Array]:
        """Works out the kisses between two samples of the first look where the looks tell them; returns (P, F) the
        samples after which they do."""
        steady, camera = np.zeros_like(passed), self.shot.camera
        for p, found in enumerate(self.found if camera is not None else ()):
            assert camera is not None
            for start, some in told(found, passed[p], camera.run, stride(self.shot.rate), NEAR_GAP).items():
                steady[p, start] = True
                for kiss in some:
                    self.told[p].setdefault(kiss.sample, []).append(kiss)
            yield 0.5
        return steady

    def _closer(self, passed: Array) -> Generator[float, None, dict[int, set[int]]]:
        """Sample -> rows of pairs, where a kiss that holds may be nearer than on the samples looked at."""
        looked = self._looked(passed)
        found: dict[int, set[int]] = {}
        for p, stretch in self._held():
            for sample in closer_look(stretch, looked[p], passed[p]):
                found.setdefault(sample, set()).add(p)
            yield 0.85
        return found

    def _held(self) -> Iterator[tuple[int, Track]]:
        """What holds long enough to count, with the row of its pair."""
        least = max(1, int(np.ceil(HOLDS * self.shot.rate - 1e-3)))
        runs = [] if self.shot.camera is None else list(camera_runs(self.shot.camera))
        for p, pair in enumerate(self.pairs):
            for track in follow(PairKisses(pair.a, pair.b, self._kisses_of(p)), runs):
                for stretch in held(track, NEAR_GAP, least):
                    yield p, stretch

    def _hide(self) -> Generator[float, None, None]:
        """Looks again, with the rest of the scene, where a kiss holds and may be hidden."""
        wanted: dict[int, set[int]] = {}
        for p, stretch in self._held():
            for k in stretch.kisses:
                wanted.setdefault(k.sample, set()).add(p)
            yield 0.9
        asked = {sample: self._asked(sorted(some), sample) for sample, some in wanted.items()}
        figures = self.figures
        hiding = hiders(self._aside, figures.rest, self.shot.frames, asked, figures.unit)
        rest = yield from within(hiding, 0.9, 0.9)
        far = figures.unbuilt()
        near = {}
        for s in asked:
            near[s] = [t for t in far if self._may_hide(t, s, asked[s])]
            yield 0.9
        again = sorted(s for s in asked if s in rest or near[s])
        if not again:
            return
        for _ in figures.build({t for some in near.values() for t in some}, again[0]):
            yield 0.9
        sets = Sets(figures.inside, list({b.key: b for some in rest.values() for b in some}.values()), figures.unit)
        for n, sample in enumerate(again):
            for _ in self.look(np.array(sorted(wanted[sample])), sample, sets):
                yield 0.9 + 0.1 * n / len(again)

    def _asked(self, which: Any, sample: int) -> Asked:
        """The places of a sample's kisses of some pairs, and how deep what hides them may lie."""
        seen = self._views[sample]
        assert seen is not None
        some = [k for p in which for k in self._at(int(p), sample)]
        depth = max((max(k.depth_a, k.depth_b) for k in some), default=0.0)
        behind = BEHIND * max(pair.height for pair in self.pairs)
        return Asked(seen, np.array([k.place for k in some]).reshape(-1, 2), depth + behind)

    def _may_hide(self, thing: Thing, sample: int, asked: Asked) -> bool:
        boxes = self._boxes[thing][sample]
        return any(bool(meet(boxes, np.array([x, y, x, y])).any()) for x, y in asked.places)

    def _at(self, p: int, sample: int) -> list[Kiss]:
        """A pair's kisses on a sample: as found, or as worked out where nobody looked."""
        found = self.found[p].get(sample)
        return self.told[p].get(sample, []) if found is None else found

    def _kisses_of(self, p: int) -> tuple[Kiss, ...]:
        return tuple(k for sample in sorted({*self.found[p], *self.told[p]}) for k in self._at(p, sample))


def _in_pair(third: Thing, pair: Pair) -> bool:
    """Whether ``third`` is one of the pair or lies in it."""
    return any(
        third == thing or (thing.kind == "character" and third.character == thing.character)
        for thing in (pair.a, pair.b)
    )
