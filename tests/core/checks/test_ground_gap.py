# SPDX-License-Identifier: GPL-3.0-or-later
"""ground-gap: silent on feet that lie on their floor, stairs and slopes; finds what floats and sinks by size, and its
pin brings it to the ground."""
from dataclasses import replace

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.measures.sole import sole_of
from plumbline.core.runner import finish
from plumbline.core.shot import Surface, with_character
from plumbline.core.testing import edit
from plumbline.core.testing.floors import floor, on_floor
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.puppet import act

UP = np.array([0.0, 0.0, 1.0])
#: s: a fault begins, holds from, holds to, is over.
BEGINS, FROM, TO, OVER = 0.8, 1.05, 3.2, 3.45


def _known(shot, *surfaces):
    """The shot with its soles told by the card, on these meshes."""
    c = shot.characters[0]
    soles = tuple(replace(sole_of(c, side), source="card") for side in "LR")
    return replace(with_character(shot, c, replace(c, soles=soles)), surfaces=surfaces)


def _low(shot):
    """Height of the sole under a figure that stands."""
    return float(sole_of(shot.characters[0], "L").points[:, 2].min())


def _stand(fps, seconds=4.2, guess=False):
    """Both feet exactly on a level mesh."""
    shot = act({}, np.zeros((int(round(seconds * fps)) + 1, 3)), fps)
    floored = replace(shot, surfaces=(floor(_low(shot)),))
    return floored if guess else _known(shot, *floored.surfaces)


def _raised(shot, size, part="foot.L"):
    t = shot.times
    share = smooth((t - BEGINS) / (FROM - BEGINS)) * (1 - smooth((t - TO) / (OVER - TO)))
    c = shot.characters[0]
    moved = edit.reach(c, f"leg.{part[-1]}", c.head(part) + size * share[:, None] * UP)
    return with_character(shot, c, moved)


def _slab(low, top, middle=(0.09, -0.05), half=(0.12, 0.2)):
    (x, y), (i, j) = middle, half
    a, b, c, d = ([x + i * m, y + j * n, low + top] for m, n in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    return Surface("Slab", "it is marked as ground", np.array([[a, b, c], [a, c, d]]), np.eye(4)[None])


def _slope(shot, degrees):
    """The standing figure and its floor turned about the line through its feet's left and right, gravity left."""
    s, c = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
    tilt = np.array([[1.0, 0, 0], [0, c, -s], [0, s, c]])
    world = np.eye(4)
    world[:3, :3] = tilt
    tilted = edit.rigid(replace(shot, surfaces=()), tilt, np.zeros(3))
    ground = floor(_low(shot))
    return replace(tilted, surfaces=(replace(ground, world=world[None]),))


class TestGroundGap(CheckTest):
    check = "ground-gap"

    def clean(self, fps):
        yield on_floor(walk(fps).shot)
        yield _stand(fps)
        stand = _stand(fps)
        yield replace(_slope(stand, 12.0), name="a slope")
        # one foot on a step, and the mesh of the step under it
        step = _known(stand, floor(_low(stand)), _slab(_low(stand), 0.12))
        c = step.characters[0]
        up = edit.reach(c, "leg.L", c.head("foot.L") + 0.12 * UP)
        yield replace(with_character(step, c, up), name="one foot on a step")
        yield replace(_raised(_stand(fps, guess=True), 0.035), name="within what a guess knows")

    def planted(self, fps):
        for size, severity in ((0.02, "low"), (0.05, "medium"), (0.10, "high")):
            yield Planted(f"{size} m over the floor", _raised(_stand(fps), size), "foot.L", severity, size, 0.002,
                          start=FROM, end=TO, worst=(FROM + TO) / 2, slack=0.3 if size < 0.1 else 0.55)
        for size, severity in ((0.02, "low"), (0.05, "medium"), (0.10, "high")):
            stand = _stand(fps)
            sunk = replace(stand, surfaces=(*stand.surfaces, _slab(_low(stand), size)))
            yield Planted(f"{size} m in a slab", sunk, "foot.L", severity, size, 0.002, start=0.0, end=4.2)

    def test_a_guessed_sole_is_held_to_less(self):
        stand = _raised(_stand(24.0, guess=True), 0.10)
        (note,) = self.notes(stand)
        assert note.severity == "medium" and note.text.endswith("a sole that is only guessed")

    def test_without_a_mesh_it_says_that_it_measures_nothing(self):
        stand = _raised(_stand(24.0), 0.10)
        result = self.result(replace(stand, surfaces=()))
        assert not result.notes and "no mesh" in result.skipped[0].why

    def test_a_foot_held_in_the_air_beside_one_that_carries_bears_nothing(self):
        """The body leans over to the right foot first, then the left one is held 6 cm up."""
        stand = _stand(24.0)
        c = stand.characters[0]
        t = stand.times
        lean = -0.105 * smooth(t / 0.6)
        body_over = edit.carry_root(c, lean[:, None] * np.array([1.0, 0, 0]), ["leg.L", "leg.R"])
        shot = _raised(with_character(stand, c, body_over), 0.06)
        assert not self.notes(shot)

    def test_a_moving_floor_is_followed(self):
        """A lift that goes up under the figure: no gap; one that leaves it by 5 cm: one."""
        stand = _stand(24.0)
        rise = 0.4 * smooth(stand.times / stand.times[-1])
        c = stand.characters[0]
        world = np.repeat(np.eye(4)[None], stand.count, 0)
        world[:, 2, 3] = rise
        lift = replace(stand.surfaces[0], world=world)
        up = replace(with_character(stand, c, edit.shift(c, rise[:, None] * UP)), surfaces=(lift,))
        assert not self.notes(up)
        (note,) = self.notes(_raised(up, 0.05))
        assert note.kind == "over" and abs(note.measured - 0.05) < 0.003

    def test_floating_owns_the_slip_of_its_foot_and_a_pulled_leg_owns_the_floating(self):
        from plumbline.core.precedence import settle
        from plumbline.core.study import Study

        shot = _raised(_stand(24.0), 0.10)
        (note,) = self.notes(shot)
        slip = replace(note, check="slip", kind="")
        (kept,) = settle(Study(shot), [slip, note])
        assert kept.check == "ground-gap" and "slip of the left foot" in kept.text
        pulled = replace(note, check="overextension", part="shin.L", parts=("shin.L",), kind="gap", lane="Limbs")
        (kept,) = settle(Study(shot), [note, pulled])
        assert kept.check == "overextension" and "ground-gap" in kept.text
        sunk = replace(note, kind="into")
        assert len(settle(Study(shot), [slip, sunk])) == 2

    def test_checks_of_other_lanes_say_nothing_of_it(self):
        shot = _raised(_stand(24.0), 0.05)
        checks = [c for c in catalogue().values() if c.name in ("slip", "overextension", "joint-limit", "ground-gap")]
        assert [n.check for n in finish(shot, checks).notes] == ["ground-gap"]
