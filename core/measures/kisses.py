# SPDX-License-Identifier: GPL-3.0-or-later
"""Kisses of outlines: in which frames meshes must be looked at, and how kisses hold together over time."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..kiss import Kiss, PairKisses, Thing
from ..need import Need
from ..numeric.camera import View, view, views
from ..numeric.lenses import Lenses
from ..shot import Array, Camera, Shot
from ..study import Study, measure
from .kiss_pairs import Pair, camera_runs, height_of

#: U from frame to frame within which a place is the same place, in the picture or on one of the things.
FOLLOW = 40.0

#: U by which a frame that was skipped may be nearer than all others and stay unseen.
CLOSER = 0.25

#: Margin in U by which the screen boxes of two things' capsules are grown.
MARGIN = 24.0

#: Thickness of a body part about its bones where no mesh told it, as a share of the character's height.
THICK = 0.09


def view_of(camera: Camera, sample: int) -> View | None:
    """The view of the camera in use at a sample, or None where its lens cannot be followed (panoramic)."""
    run = int(camera.run[sample])
    if camera.kind[run] not in ("PERSP", "ORTHO"):
        return None
    return view(
        camera.world_from_camera[sample],
        kind=camera.kind[run],
        fit=camera.fit[run],
        lens_mm=float(camera.lens_mm[sample]),
        ortho_scale=float(camera.ortho_scale[sample]),
        sensor_mm=camera.sensor_mm[sample],
        shift=camera.shift[sample],
        resolution=camera.resolution,
        pixel_aspect=camera.pixel_aspect,
    )


# ---- which frames ---------------------------------------------------------------------------------------------------


def stride(rate: float) -> int:
    """Every how many samples a first look is enough: a kiss counts from 0.25 s, so half of that."""
    return max(1, int(0.125 * rate + 1e-6))


def views_of(camera: Camera | None, count: int) -> tuple[View | None, ...]:
    """The view at each of ``count`` samples, None where there is none."""
    found: list[View | None] = [None] * count
    for run, kind in enumerate(camera.kind if camera is not None else ()):
        assert camera is not None
        mine = np.flatnonzero(camera.run[:count] == run)
        if kind in ("PERSP", "ORTHO") and len(mine):
            some = views(
                camera.world_from_camera[mine],
                kind=kind,
                fit=camera.fit[run],
                lens_mm=camera.lens_mm[mine],
                ortho_scale=camera.ortho_scale[mine],
                sensor_mm=camera.sensor_mm[mine],
                shift=camera.shift[mine],
                resolution=camera.resolution,
                pixel_aspect=camera.pixel_aspect,
            )
            for sample, one in zip(mine.tolist(), some, strict=True):
                found[sample] = one
    return tuple(found)


def boxes_of(
    shot: Shot,
    things: Iterable[Thing],
    radii: Mapping[Thing, float] | None = None,
    views: Sequence[View | None] | None = None,
) -> Iterator[tuple[Thing, Array]]:
    """Yields each thing with the boxes (F, K, 4) in the picture, left, low, right, high in U, of the capsules that it
    lies in.

    radii: thing -> metres by which its mesh reaches beyond its bones or, for a prop, its origin. Grown by MARGIN and
    clipped to the picture; NaN out of it, where there is no camera, and where its lens cannot be followed. A capsule
    that crosses the camera's plane has an endless box. views: as from ``views_of``, where they are known already.
    """
    known = radii or {}
    views = views_of(shot.camera, shot.count) if views is None else views
    seen = np.array([n for n, v in enumerate(views) if v is not None], int)
    lens = Lenses([v for v in views if v is not None]) if len(seen) else None
    for t in things:
        lines = _capsules(shot, t)
        boxes = np.full((*lines.shape[:2], 4), np.nan)
        if lens is not None:
            boxes[seen] = lens.boxes(lines[seen], known.get(t, _guess(shot, t)), MARGIN)
        yield t, boxes


def things_in(pairs: Iterable[Pair]) -> list[Thing]:
    """The things of some pairs, each once."""
    return list(dict.fromkeys(t for pair in pairs for t in (pair.a, pair.b)))


def meet(boxes: Array, box: Array) -> Array:
    """(...,) whether boxes (..., 4) meet a box (4,) or boxes of the same shape; NaN meets nothing."""
    out: Array = (
        (boxes[..., 0] <= box[..., 2])
        & (box[..., 0] <= boxes[..., 2])
        & (boxes[..., 1] <= box[..., 3])
        & (box[..., 1] <= boxes[..., 3])
    )
    return out


def gate(shot: Shot, pairs: Sequence[Pair], boxes: Mapping[Thing, Array] | None = None) -> Array:
    """(P, F) whether two things may come near each other in the picture, by their boxes, which are as ``boxes_of``
    gives them. A pair that is not open does not pass."""
    passed = np.zeros((len(pairs), shot.count), bool)
    if boxes is None:
        boxes = dict(boxes_of(shot, things_in(pairs)))
    for p, pair in enumerate(pairs):
        met = meet(boxes[pair.a][:, :, None, :], boxes[pair.b][:, None, :, :])
        passed[p] = met.any(axis=(1, 2)) & pair.open
    return passed


def _capsules(shot: Shot, thing: Thing) -> Array:
    """(F, K, 2, 3) ends of the lines that carry a thing."""
    if thing.kind == "prop":
        origin = next(p.origin for p in shot.props if p.name == thing.name)
        return np.repeat(origin[:, None, None, :], 2, axis=2)
    character = next(c for c in shot.characters if c.name == thing.character)
    return np.stack([np.stack([character.head(p), character.end(p)], axis=1) for p in thing.parts], axis=1)


def _guess(shot: Shot, thing: Thing) -> float:
    if thing.kind == "prop":
        return next(p.size for p in shot.props if p.name == thing.name) or 0.5
    return THICK * height_of(next(c for c in shot.characters if c.name == thing.character))


def first_look(passed: Array, rate: float) -> Array:
    """Samples, in order, at which the pairs that pass the gate (P, F) are looked at first."""
    coarse = np.zeros(passed.shape[1], bool)
    coarse[:: stride(rate)] = True
    return np.flatnonzero(coarse & passed.any(axis=0))


def second_look(passed: Array, hits: Array, rate: float, steady: Array | None = None) -> Array:
    """(P, F) what must be looked at as well, given hits (P, F) of the first look: the samples around each.

    steady (P, F): hits after which the samples up to the next of the first look need no look, as from
    ``kiss_between.between``: where a kiss starts and ends is found all the same.
    """
    step = stride(rate)
    around = np.zeros_like(hits)
    for shift in range(1 - step, step):
        if shift:
            beside = np.zeros_like(hits)
            beside[:, max(0, shift) : hits.shape[1] + min(0, shift)] = hits[
                :, max(0, -shift) : hits.shape[1] - max(0, shift)
            ]
            around |= beside
    around[:, ::step] = False
    for p, sample in np.argwhere(steady) if steady is not None else ():
        around[p, sample + 1 : sample + step] = False
    return around & passed


def same(now: Sequence[Kiss], later: Sequence[Kiss]) -> list[Kiss] | None:
    """Which kiss of a later sample is the same place as each of a pair's kisses now; None where one has no follower,
    or where there are more of them later."""
    if not now or len(now) != len(later):
        return None
    far = [[moved(k, n) for n in later] for k in now]
    least = FOLLOW * abs(later[0].sample - now[0].sample)
    nearest = [row.index(min(row)) for row in far]
    if len(set(nearest)) < len(now) or max(min(row) for row in far) > least:
        return None
    return [later[n] for n in nearest]


def closer_look(track: "Track", looked: Array, passed: Array) -> list[int]:
    """The samples that were not looked at at which a track may be nearer than at any that was, by more than CLOSER U:
    its nearest one, those beside it, and where the outlines pass through each other while no sample tells it. looked,
    passed (F,): of its pair."""
    samples, gaps = track.samples, np.abs(track.gaps)
    known = np.flatnonzero(looked[samples])
    best = int(gaps.argmin())
    if len(known) and gaps[known].min() <= gaps[best] + CLOSER:
        best = int(known[gaps[known].argmin()])
    near = int(samples[best])
    asked = [near - 1, near, near + 1]
    if gaps.min() > CLOSER:
        asked += (samples[:-1][np.diff(np.sign(track.gaps)) != 0.0] + 1).tolist()
    return sorted({s for s in asked if samples[0] <= s <= samples[-1] and passed[s] and not looked[s]})


# ---- over time ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Track:
    """One place followed over time. samples (n,) at which it was seen to kiss, in order; gaps (n,) signed, U."""

    a: Thing
    b: Thing
    kisses: tuple[Kiss, ...]

    @property
    def samples(self) -> Array:
        return np.array([k.sample for k in self.kisses])

    @property
    def gaps(self) -> Array:
        return np.array([k.gap for k in self.kisses])


def follow(pair: PairKisses, runs: Iterable[slice]) -> list[Track]:
    """The kisses of a pair joined into tracks: the same place from frame to frame, gaps of one frame bridged, and none
    across the end of a run of the camera."""
    tracks: list[Track] = []
    for run in runs:
        open_: list[list[Kiss]] = []
        for kiss in pair.kisses:
            if not run.start <= kiss.sample < run.stop:
                continue
            near = [(moved(t[-1], kiss), n) for n, t in enumerate(open_) if 1 <= kiss.sample - t[-1].sample <= 2]
            distance, n = min(near, default=(np.inf, -1))
            if distance <= FOLLOW * (kiss.sample - open_[n][-1].sample if n >= 0 else 1):
                open_[n].append(kiss)
            else:
                open_.append([kiss])
        tracks += [Track(pair.a, pair.b, tuple(t)) for t in open_]
    return tracks


def moved(before: Kiss, now: Kiss) -> float:
    """How far a place has come in the picture, U: in the picture itself or along with either thing, whichever is
    less."""
    x, y = now.place[0] - before.place[0], now.place[1] - before.place[1]
    along = [(q[0] - p[0], q[1] - p[1]) for p, q in zip(before.centers, now.centers, strict=True)]
    return min(float(np.hypot(x - u, y - v)) for u, v in ((0.0, 0.0), *along))


def held(track: Track, largest: float, least: int) -> list[Track]:
    """The stretches of a track of at least ``least`` samples in which the gap stays within ``largest`` U, gaps of one
    sample bridged."""
    out: list[list[Kiss]] = []
    for kiss in track.kisses:
        if abs(kiss.gap) > largest:
            continue
        if out and kiss.sample - out[-1][-1].sample <= 2:
            out[-1].append(kiss)
        else:
            out.append([kiss])
    return [Track(track.a, track.b, tuple(k)) for k in out if k[-1].sample - k[0].sample + 1 >= least]


@measure(Need.KISSES | Need.CAMERA, whole=True)
def tracks(study: Study, _: None) -> tuple[Track, ...]:
    """Every place of the shot at which two outlines kiss, followed over time; () where nothing was looked at."""
    kisses = study.shot.kisses
    if kisses is None or study.shot.camera is None:
        return ()
    runs = camera_runs(study.shot.camera)
    return tuple(track for pair in kisses.pairs for track in follow(pair, runs))
