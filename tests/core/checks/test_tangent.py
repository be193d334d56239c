# SPDX-License-Identifier: GPL-3.0-or-later
"""tangent: a lantern held beside the round of a head in an orthographic picture, where every gap is known by hand.

One millimeter is one px here. Blender's own meshes and cameras are planted in tests/blender/sampling/test_meshes.py.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from plumbline.core.catalogue import catalogue
from plumbline.core.evidence import Point, ScreenOutline
from plumbline.core.kiss import Kiss, Kisses, PairKisses, Thing
from plumbline.core.measures.kiss_pairs import beside_of, pairs_of
from plumbline.core.measures.kisses import first_look, gate, second_look, view_of
from plumbline.core.numeric.kissing import kisses
from plumbline.core.numeric.picture import Picture
from plumbline.core.numeric.topology import Topology, topology, weld
from plumbline.core.remedy import Move
from plumbline.core.runner import finish
from plumbline.core.shot import Camera, Prop, Shot
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.pods import block, triangles
from plumbline.core.testing.puppet import act

Array = np.ndarray
HEAD, ROUND = np.array([0.0, 0.0, 1.65]), 0.11
AWAY = 0.25
RIGID = np.array([[np.cos(2.1), -np.sin(2.1), 0], [np.sin(2.1), np.cos(2.1), 0], [0, 0, 1.0]])


def ball() -> tuple[Array, Array]:
    """A sphere about the origin with a corner at each end of every axis."""
    sides, rings = 64, 32
    polar, turn = np.meshgrid(
        np.linspace(0, np.pi, rings + 1), np.linspace(0, 2 * np.pi, sides, endpoint=False), indexing="ij"
    )
    places = ROUND * np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], -1).reshape(
        -1, 3
    )
    quads: list[tuple[int, ...]] = [
        (i * sides + j, i * sides + (j + 1) % sides, (i + 1) * sides + (j + 1) % sides, (i + 1) * sides + j)
        for i in range(rings)
        for j in range(sides)
    ]
    return places, triangles(quads)


def crate(x: float, y: float, z: float) -> tuple[Array, Array]:
    places, quads = block(x, y, z)
    return places, triangles(quads)


def solid(mesh: tuple[Array, Array]) -> Topology:
    return topology(mesh[1], weld(mesh[0]))


@dataclass(frozen=True)
class Set:
    """The shot's motion: what stands where on each frame, so that it can be moved and looked at again."""

    fps: float
    lantern: Array  # (F, 3) center
    turned: float = 0.0  # degrees about the line of sight
    wall: float | None = None  # its y
    count: int = 48
    rotation: Any = None
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    mirror: bool = False
    kind: str = "ORTHO"
    cut: int | None = None

    def world(self, places: Array) -> Array:
        if self.mirror:
            places = places * np.array([-1.0, 1.0, 1.0])
        return places @ (np.eye(3) if self.rotation is None else self.rotation).T + np.array(self.shift)

    def shot(self) -> Shot:
        f = len(self.lantern)
        base = act({}, np.zeros((f, 3)), self.fps)
        rotation = np.eye(3) if self.rotation is None else self.rotation
        keeper = base.characters[0]
        keeper = replace(
            keeper,
            heads=self.world(keeper.heads),
            tails=self.world(keeper.tails),
            axes=rotation @ keeper.axes,
            twist_axes=None,
        )
        matrix = np.eye(4)
        matrix[:3, :3] = rotation @ np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]])
        matrix[:3, 3] = self.world(np.array([0.0, -5.0, 1.4]))
        run = (np.arange(f) >= (f if self.cut is None else self.cut)).astype(int)
        camera = Camera(
            names=("View", "Other")[: run.max() + 1],
            run=run,
            kind=(self.kind,) * (run.max() + 1),
            fit=("AUTO",) * (run.max() + 1),
            world_from_camera=np.broadcast_to(matrix, (f, 4, 4)),
            lens_mm=np.full(f, 50.0),
            ortho_scale=np.full(f, 1.92),
            sensor_mm=np.full((f, 2), 36.0),
            shift=np.zeros((f, 2)),
            resolution=np.array([1920, 1080]),
            pixel_aspect=np.ones(2),
        )
        lantern = Prop("Lantern", "marked", self.world(self.lantern), np.broadcast_to(np.eye(3), (f, 3, 3)), size=0.2)
        shot = replace(base, characters=(keeper,), props=(lantern,), camera=camera, name="lantern")
        return replace(shot, kisses=self.reduced(shot))

    def reduced(self, shot: Shot) -> Kisses:
        """What the second pass does, over every frame: the head and the lantern as meshes, a wall that may hide
        them."""
        if self.kind == "PANO":
            return Kisses(())
        meshes = [crate(0.06, 0.06, 0.2), ball(), crate(3.0, 0.02, 3.0)]
        c, s = np.cos(np.radians(self.turned)), np.sin(np.radians(self.turned))
        meshes[0] = meshes[0][0] @ np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]]).T, meshes[0][1]
        tops = [solid(mesh) for mesh in meshes[: 2 + (self.wall is not None)]]
        found: list[Kiss] = []
        known: dict[tuple[float, ...], list[Any]] = {}  # nothing but the lantern moves
        for i, place in enumerate(self.lantern):
            offsets = (place, HEAD, np.array([0.0, self.wall or 0.0, 1.4]))
            seen = view_of(shot.camera, i)
            assert seen is not None
            picture = Picture(seen, tops, lambda n, at=offsets: self.world((meshes[n][0] + at[n])[tops[n].vertices]))
            if tuple(place) not in known:
                known[tuple(place)] = kisses(picture, 0, 1, range(2, len(tops)), 1.75)
            found += [k.at(i) for k in known[tuple(place)]]
        head = Thing("head", "part", "Keeper", ("head", "neck"))
        return Kisses((PairKisses(Thing("Lantern", "prop"), head, tuple(found)),))


def held(
    fps: float, gap: float, start: float, end: float, *, turned: float = 0.0, nearer: float = 0.4, **more: Any
) -> Set:
    """The lantern ``gap`` px to the left of the head's round from start to end seconds, and AWAY meters off
    otherwise."""
    times = np.arange(round(2.0 * fps)) / fps
    c, s = abs(np.cos(np.radians(turned))), abs(np.sin(np.radians(turned)))
    half = 0.03 * c + 0.1 * s
    near = (times >= start - 1e-9) & (times <= end + 1e-9)
    x = -ROUND - half - np.where(near, gap * 0.001, AWAY)
    # A turned box touches by its corner, which is brought to the height of the head's middle.
    rise = (0.03 * s - 0.1 * c) if turned else 0.0
    lantern = np.stack([x, np.full(len(x), -nearer), np.full(len(x), HEAD[2] - rise)], -1)
    return Set(fps, lantern, turned, **more)


class TestTangent(CheckTest):
    check = "tangent"
    cannot_mend = (
        "kisses are reduced from meshes, which sampled arrays no longer hold; see the tests below that look again"
    )

    def clean(self, fps: float) -> Iterable[Shot]:
        yield held(fps, 4.0, 0.0, 2.0).shot()
        yield held(fps, 8.0, 0.0, 2.0).shot()
        yield held(fps, -12.0, 0.0, 2.0).shot()
        yield held(fps, 0.0, 1.0, 1.12).shot()
        yield held(fps, 0.0, 0.5, 1.5, wall=-1.0).shot()

    def sets(self, fps: float) -> Iterable[tuple[Planted, Set]]:
        rows = (
            ("touching", 0.0, 0.36, 0.0, 0.4, "medium", {}),
            ("one px", 1.0, 0.36, 0.0, 0.4, "medium", {}),
            ("two px", 2.0, 0.36, 0.0, -0.35, "medium", {}),
            ("inside", -2.0, 0.36, 0.0, 0.4, "medium", {}),
            ("faint", 2.6, 0.8, 0.0, 0.4, "low", {}),
            ("long", 1.0, 0.8, 0.0, 0.4, "high", {}),
            ("corner", 1.0, 0.8, 60.0, 0.4, "medium", {}),
            ("in contact", 1.0, 0.8, 0.0, 0.0, "low", {}),
            ("before a wall", 1.0, 0.8, 0.0, 0.4, "high", {"wall": 1.0}),
        )
        for name, gap, seconds, turned, nearer, severity, more in rows:
            stage = held(fps, gap, 0.5, 0.5 + seconds, turned=turned, nearer=nearer, **more)
            yield Planted(name, stage.shot(), "head", severity, gap, 0.25, start=0.5, end=0.5 + seconds), stage

    def planted(self, fps: float) -> Iterable[Planted]:
        for case, _ in self.sets(fps):
            yield case

    def test_same_anywhere_and_in_any_heading(self) -> None:
        for case, stage in self.sets(24.0):
            moved = replace(stage, rotation=RIGID, shift=(40.0, -25.0, 0.0)).shot()
            assert [self.near_gist(n) for n in self.notes(moved)] == [self.near_gist(self.the_note(case, 24.0))], (
                case.name
            )

    def test_mirrored_motion_swaps_sides(self) -> None:
        for case, stage in self.sets(24.0):
            note, flipped = self.the_note(case, 24.0), self.notes(replace(stage, mirror=True).shot())
            assert [self.near_gist(n) for n in flipped] == [self.near_gist(note)], case.name
            ways = [n.remedy.offset[0] for n in (note, flipped[0]) if isinstance(n.remedy, Move)]
            assert len(ways) == 2 and abs(ways[0] + ways[1]) < 1e-3, case.name

    def near_gist(self, note: Any) -> tuple[Any, ...]:
        return (note.part, note.severity, note.start, note.end, round(note.measured, 1) + 0.0, note.kind)

    def test_the_remedy_looked_at_again(self) -> None:
        for case, stage in self.sets(24.0):
            note = self.the_note(case, 24.0)
            remedy = note.remedy
            assert isinstance(remedy, Move) and remedy.target == "Lantern" and "cm" in note.text
            frames = case.shot.frames
            inside = (frames >= remedy.frames[0]) & (frames <= remedy.frames[1])
            moved = replace(stage, lantern=stage.lantern + inside[:, None] * np.array(remedy.offset))
            assert not self.notes(moved.shot()), case.name
            into = -np.array(remedy.offset) / np.linalg.norm(remedy.offset) * 0.001 * (16.0 + note.measured)
            assert (
                not self.notes(replace(stage, lantern=stage.lantern + inside[:, None] * into).shot())
                or case.name == "corner"
            )

    def test_evidence_shows_both_outlines(self) -> None:
        for case in self.at_24():
            shapes = self.the_note(case, 24.0).evidence
            outlines = [s for s in shapes if isinstance(s, ScreenOutline)]
            assert {s.role for s in outlines} == {"found", "held_against"} and any(isinstance(s, Point) for s in shapes)
            places = np.concatenate([s.places for s in outlines])
            # the head's left edge: 110 px left of the middle, 250 px above it
            assert np.abs(places - (960 - 110, 540 + 250)).max() < 60, case.name

    def test_a_cut_ends_a_kiss(self) -> None:
        """Ten frames, cut in the middle: five a run are too few."""
        whole = held(24.0, 0.0, 0.5, 0.89)
        assert len(self.notes(whole.shot())) == 1
        assert not self.notes(replace(whole, cut=17).shot())

    def test_a_kiss_that_moves_through_the_picture_is_one(self) -> None:
        """Lantern and head travel 70 px a frame together: the place is the same on both, wherever it is seen."""
        shot = held(24.0, 1.0, 0.5, 1.3).shot()
        pair = shot.kisses.pairs[0]

        def traveling(share: float) -> list[Any]:
            some = tuple(
                replace(
                    k,
                    place=(k.place[0] + 70.0 * k.sample, k.place[1]),
                    centers=((70.0 * share * k.sample, 0.0), (70.0 * share * k.sample, 0.0)),
                )
                for k in pair.kisses
            )
            return self.notes(replace(shot, kisses=Kisses((replace(pair, kisses=some),))))

        assert [(n.start, n.end) for n in traveling(1.0)] == [(n.start, n.end) for n in self.notes(shot)]
        assert not traveling(0.0)

    def test_a_missing_frame_is_bridged(self) -> None:
        shot = held(24.0, 1.0, 0.5, 1.3).shot()
        pair = shot.kisses.pairs[0]
        gappy = replace(pair, kisses=tuple(k for k in pair.kisses if k.sample not in (16, 21)))
        notes = self.notes(replace(shot, kisses=Kisses((gappy,))))
        assert [(n.start, n.end) for n in notes] == [(n.start, n.end) for n in self.notes(shot)]

    def test_an_overlap_at_another_place_softens_a_kiss(self) -> None:
        """A lantern on a bar that runs across the brow: what is before is plain, so its side by the cheek is low."""
        shot = held(24.0, 1.0, 0.5, 1.3).shot()
        seen = view_of(shot.camera, 0)
        assert seen is not None
        places, faces = crate(0.06, 0.06, 0.2)
        bar, more = crate(0.25, 0.06, 0.03)
        lantern = np.concatenate([places, bar + np.array([0.1, 0.0, 0.085])]), np.concatenate([faces, more + 8])
        tops = [solid(lantern), solid(ball())]
        worlds = [lantern[0] + HEAD + np.array([-0.141, -0.4, 0.0]), ball()[0] + HEAD]
        found = kisses(Picture(seen, tops, lambda n: worlds[n][tops[n].vertices]), 0, 1, (), 1.75)
        assert [k.crossed for k in found] == [True] and abs(found[0].gap - 1.0) < 0.15, found
        pair = shot.kisses.pairs[0]
        assert not any(k.crossed for k in pair.kisses) and self.notes(shot)[0].severity == "high"
        crossed = replace(pair, kisses=tuple(replace(k, crossed=True) for k in pair.kisses))
        assert [n.severity for n in self.notes(replace(shot, kisses=Kisses((crossed,))))] == ["low"]

    def test_a_lantern_plainly_before_the_next_part_of_the_body_is_crossed(self) -> None:
        """A hip beside the kiss: over it by 60 px, over it by its edge alone, and too far below to be seen with it."""
        seen = view_of(held(24.0, 1.0, 0.5, 1.3).shot().camera, 0)
        assert seen is not None
        lantern, hip = crate(0.06, 0.06, 0.2), crate(0.3, 0.1, 0.06)
        tops = [solid(mesh) for mesh in (lantern, ball(), hip)]
        edge = -0.111 + 0.15 - 0.001
        for offset, crossed in (((0.0, 0.0, -0.06), True), ((edge, 0.0, -0.06), False), ((0.0, 0.0, -0.09), False)):
            at = ((-0.141, -0.4, 0.0), (0.0, 0.0, 0.0), offset)
            worlds = [m[0] + HEAD + np.array(o) for m, o in zip((lantern, ball(), hip), at, strict=True)]
            picture = Picture(seen, tops, lambda n, w=worlds: w[n][tops[n].vertices])
            found = kisses(picture, 0, 1, (2,), 1.75, (2,))
            assert [k.crossed for k in found] == [crossed], (offset, found)

    def test_a_corner_away_from_a_head_counts_once_it_lasts(self) -> None:
        for seconds, at_head, elsewhere in ((0.36, "medium", "low"), (0.8, "medium", "medium")):
            shot = held(24.0, 1.0, 0.5, 0.5 + seconds, turned=60.0).shot()
            pair = shot.kisses.pairs[0]
            torso = replace(pair, b=Thing("torso", "part", "Keeper", ("chest",)))
            told = [self.notes(replace(shot, kisses=Kisses((p,))))[0].severity for p in (pair, torso)]
            assert told == [at_head, elsewhere], seconds

    def test_a_kiss_where_two_parts_meet_is_one(self) -> None:
        """Chin and shoulder at one place are one fault; a second place on the body is another."""
        shot = held(24.0, 1.0, 0.5, 1.3).shot()
        pair = shot.kisses.pairs[0]
        torso = replace(pair, b=Thing("torso", "part", "Keeper", ("chest",)))
        for far, notes in ((20.0, 1), (120.0, 2)):
            some = tuple(replace(k, place=(k.place[0], k.place[1] - far)) for k in pair.kisses)
            both = Kisses((pair, replace(torso, kisses=some)))
            assert len(self.notes(replace(shot, kisses=both))) == notes, far

    def test_two_props_are_named_as_two(self) -> None:
        shot = held(24.0, 1.0, 0.5, 1.3).shot()
        lamps = replace(shot.kisses.pairs[0], b=Thing("Lamp", "prop"))
        note = self.notes(replace(shot, kisses=Kisses((lamps,))))[0]
        assert set(note.parts) == {"Lamp", "Lantern"} and note.character == ""
        assert '"Lantern" and "Lamp"' in note.text

    def test_a_kiss_that_opens_for_a_moment_is_one(self) -> None:
        """A breath between two kisses of a lantern and a head: one note over both; half a second between: two."""
        shot = held(24.0, 1.0, 0.5, 1.5).shot()
        pair = shot.kisses.pairs[0]
        for opened, spans in (((20, 23), [(13, 37)]), ((19, 30), [(13, 19), (32, 37)])):
            kept = tuple(k for k in pair.kisses if not opened[0] <= k.sample <= opened[1])
            notes = self.notes(replace(shot, kisses=Kisses((replace(pair, kisses=kept),))))
            assert [(n.start, n.end) for n in notes] == spans

    def test_what_cannot_be_judged_is_said(self) -> None:
        shot = held(24.0, 1.0, 0.5, 1.3).shot()
        for bare, word in (
            (replace(shot, camera=None), "no camera"),
            (replace(shot, props=(), kisses=None), "no prop"),
            (replace(shot, kisses=None), "not read"),
            (held(24.0, 1.0, 0.5, 1.3, kind="PANO").shot(), "panoramic"),
        ):
            result = finish(bare, [catalogue()["tangent"]])
            assert not result.notes and not result.failed and any(word in s.why for s in result.skipped), (word, result)


def test_every_third_frame_and_those_around_a_hit() -> None:
    for fps in (24.0, 30.0, 60.0):
        stage = held(fps, 1.0, 0.8, 1.06)
        shot = stage.shot()
        pairs = pairs_of(shot)
        row = next(n for n, p in enumerate(pairs) if p.b.name == "head")
        passed = gate(shot, pairs)
        assert passed[row].any()
        first = first_look(passed, shot.rate)
        kissing = {k.sample for k in shot.kisses.pairs[0].kisses}
        hits = np.zeros_like(passed)
        hits[row, sorted(set(first.tolist()) & kissing)] = True
        assert hits.any(), "a kiss of 0.25 s slipped through the first look"
        seen = set(first.tolist()) | set(np.flatnonzero(second_look(passed, hits, shot.rate)[row]).tolist())
        assert kissing <= seen
        assert len(seen) < 0.75 * shot.count


def test_the_gate_never_drops_a_kiss_and_drops_what_is_far() -> None:
    near, far = held(24.0, 1.0, 0.5, 1.5), held(24.0, 700.0, 0.0, 2.0)
    for stage, expected in ((near, True), (far, False)):
        shot = stage.shot()
        pairs = pairs_of(shot)
        row = next(n for n, p in enumerate(pairs) if p.b.name == "head")
        passed = gate(shot, pairs)[row]
        assert passed[12:36].all() if expected else not passed.any()


def test_a_prop_that_is_held_leaves_its_limb_out() -> None:
    stage = held(24.0, 4.0, 0.0, 2.0)
    shot = stage.shot()
    assert {p.b.name for p in pairs_of(shot)} == {"head", "torso", "arm.L", "arm.R", "leg.L", "leg.R"}
    hand = shot.characters[0].end("hand.R") + np.array([0.0, 0.0, -0.12])
    carried = replace(shot, props=(replace(shot.props[0], origin=hand),))
    pairs = pairs_of(carried)
    assert {p.b.name for p in pairs} == {"head", "torso", "arm.L", "leg.L", "leg.R"}
    beside = {p.b.name: {t.name for t in beside_of(p, pairs, 0)} for p in pairs}
    assert beside["torso"] == {"head", "arm.L", "leg.L", "leg.R"} and not beside["head"]


@pytest.mark.parametrize("turned", [0.0, 20.0, 60.0])
def test_no_gap_is_lost_between_a_corner_and_an_overlap(turned: float) -> None:
    for gap in (4.0, 3.2, 2.8, 1.5, 0.4, 0.1, 0.0, -0.1, -0.4, -1.5, -2.8, -3.2, -4.0, -6.0):
        found = held(24.0, gap, 0.5, 0.5, turned=turned).shot().kisses
        assert found is not None
        gaps = [k.gap for k in found.pairs[0].kisses]
        assert bool(gaps) == (abs(gap) < 3.0), gap
        # The deepest place tells the overlap; beside it the same outlines may be asked about again.
        assert not gaps or abs(min(gaps) - gap) < 0.15, (gap, gaps)


def test_long_edges_that_cross_at_a_flat_angle_kiss_where_they_stay_near() -> None:
    """Judged by the 32 px about the crossing: at 2 degrees the edges are within 1.1 px there, at 8 degrees 4.5 deep."""
    shot = held(24.0, 4.0, 0.0, 2.0).shot()
    seen = view_of(shot.camera, 0)
    assert seen is not None
    for degrees, expected in ((2.0, True), (8.0, False)):
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        places, faces = crate(0.06, 0.06, 0.6)
        leaning = places @ np.array([[c, 0, -s], [0, 1, 0], [s, 0, c]]).T + np.array([0.06, -0.4, 0.0])
        tops = [solid((places, faces)), solid((leaning, faces))]
        worlds = [(p + HEAD)[top.vertices] for p, top in zip((places, leaning), tops, strict=True)]
        found = kisses(Picture(seen, tops, lambda n, at=worlds: at[n]), 1, 0, (), 1.75)
        assert bool(found) == expected, (degrees, found)
        assert not expected or min(abs(k.gap) for k in found) < 1.2, found
