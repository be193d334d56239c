# SPDX-License-Identifier: GPL-3.0-or-later
"""thin-support: silent on walks, stands and tiptoe; finds weight on heel edges, a toe tip and a side by its time, and
its turn sets the foot down."""
from dataclasses import replace

import numpy as np
from plumbline.core.evidence import Arc
from plumbline.core.measures.sole import carried, sole_of
from plumbline.core.numeric.rotation import exp, unit
from plumbline.core.remedy import Turn
from plumbline.core.shot import SOLE_POINTS, with_character
from plumbline.core.testing import edit
from plumbline.core.testing.floors import floor
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.puppet import act

BEGINS, RAMP = 1.0, 0.12
#: A tilt of 22 degrees is over 12 for this share of its ramp.
OVER = 0.47


def _stand(fps, seconds=3.0):
    shot = act({}, np.zeros((int(round(seconds * fps)) + 1, 3)), fps)
    c = shot.characters[0]
    soles = tuple(replace(sole_of(c, side), source="card") for side in "LR")
    return with_character(shot, c, replace(c, soles=soles))


def _share(t, seconds):
    """0 to 1 and back: more than 12 of 22 degrees for so many seconds from BEGINS."""
    hold = seconds - 2 * OVER * RAMP
    rise = (t - BEGINS + (1 - OVER) * RAMP) / RAMP
    return smooth(rise) * (1 - smooth(rise - 1 - hold / RAMP))


def _tipped(shot, sides, share, degrees, pivot, along=False, toes_stay=False):
    """Feet turned by ``degrees`` (toes up, or with ``along`` the left side up) about a place of the sole."""
    c = shot.characters[0]
    for side in sides:
        sole = carried(c, sole_of(c, side))
        ahead = unit(sole[:, SOLE_POINTS.index("ball")] - sole[:, SOLE_POINTS.index("heel")])
        axis = ahead if along else -np.cross(np.broadcast_to([0.0, 0, 1], ahead.shape), ahead)
        about = sole[:, [SOLE_POINTS.index(p) for p in pivot]].mean(1)
        turn = exp(np.radians(degrees * share)[:, None] * axis)
        c = edit.rolled(c, f"foot.{side}", about, turn)
        c = edit.turn(c, f"toe.{side}", turn.swapaxes(-1, -2)) if toes_stay else c
    return with_character(shot, shot.characters[0], c)


def _on_one(fps, ahead=0.02):
    """The body over its left foot, the right one 12 cm up, the hips let down a little."""
    stand = _stand(fps)
    c = stand.characters[0]
    over = np.tile([0.10, -ahead, -0.03], (stand.count, 1))
    c = edit.carry_root(c, over, ["leg.L", "leg.R"])
    c = edit.reach(c, "leg.R", c.head("foot.R") + np.array([0.0, 0.05, 0.12]))
    return with_character(stand, stand.characters[0], c)


class TestThinSupport(CheckTest):
    check = "thin-support"

    def clean(self, fps):
        yield walk(fps).shot
        yield _stand(fps)
        yield _on_one(fps)
        stand = _stand(fps)
        yield replace(_tipped(stand, "LR", _share(stand.times, 1.5), -25.0, ("ball",), toes_stay=True),
                      name="tiptoe")
        yield replace(_tipped(stand, "LR", _share(stand.times, 0.16), 22.0, ("heel",)), name="a heel strike's time")
        yield replace(_tipped(stand, "L", _share(stand.times, 1.0), 22.0, ("heel",)), name="the other foot stands")

    def planted(self, fps):
        for seconds, severity in ((0.3, "low"), (0.6, "medium"), (1.0, "high")):
            one = _on_one(fps)
            shot = _tipped(one, "L", _share(one.times, seconds), 22.0, ("heel",))
            yield Planted(f"{seconds} s on a heel", shot, "foot.L", severity, seconds, 0.045, start=BEGINS,
                          end=BEGINS + seconds, slack=0.02)
        one = _on_one(fps)
        side = _tipped(one, "L", _share(one.times, 0.6), 30.0, ("heel_inner", "ball_inner"), along=True)
        yield Planted("0.6 s on a side", replace(side, name="side"), "foot.L", "medium", 0.6, 0.06, start=BEGINS,
                      end=BEGINS + 0.6, slack=0.04)

    def test_both_heels_are_one_note(self):
        stand = _stand(24.0)
        (note,) = self.notes(_tipped(stand, "LR", _share(stand.times, 0.6), 22.0, ("heel",)))
        assert set(note.parts) == {"foot.L", "foot.R"} and "stands so too" in note.text

    def test_an_arc_goes_from_the_ground_to_the_sole(self):
        one = _on_one(24.0)
        across, side = ("heel_inner", "ball_inner"), _share(one.times, 0.6)
        for degrees, pivot, along in ((22.0, ("heel",), False), (30.0, across, True)):
            shot = _tipped(one, "L", side, degrees, pivot, along=along)
            (note,) = self.notes(shot)
            (arc,) = (e for e in note.evidence if isinstance(e, Arc))
            assert abs(abs(arc.angle) - degrees) < 0.5
            rises = exp(np.radians(arc.angle) * np.array(arc.axis)) @ arc.zero
            assert abs(np.degrees(np.arcsin(rises[2])) - degrees) < 1.0 and abs(arc.zero[2]) < 0.01
            c = shot.characters[0]
            sole = carried(c, sole_of(c, "L"))[note.worst - 1]
            away = (sole - arc.centre) @ rises
            assert abs(away.max() - arc.radius) < 0.1 * arc.radius

    def test_the_remedy_turns_the_toes_down_about_the_heel(self):
        one = _on_one(24.0)
        (note,) = self.notes(_tipped(one, "L", _share(one.times, 0.6), 22.0, ("heel",)))
        assert isinstance(note.remedy, Turn) and note.remedy.pivot == "heel edge"
        assert "toes down about its heel edge" in note.remedy.sentence()
        assert max(note.remedy.angle) == max(map(abs, note.remedy.angle))

    def test_a_toe_tip_speaks_where_a_mesh_lies_under_it(self):
        one = _on_one(24.0, ahead=0.17)
        shot = _tipped(one, "L", _share(one.times, 0.6), -60.0, ("toe_tip",))
        assert not self.notes(shot), "toes that hang look the same"
        (note,) = self.notes(replace(shot, surfaces=(floor(),)))
        assert note.kind == "toe" and note.severity == "medium"
        assert not self.notes(replace(shot, surfaces=(floor(-0.1),)))

    def test_who_crouches_stands_as_he_can(self):
        stand = _stand(24.0)
        c = stand.characters[0]
        low = edit.carry_root(c, np.tile([0.0, 0.0, -0.4], (stand.count, 1)), ["leg.L", "leg.R"])
        crouched = with_character(stand, c, low)
        assert not self.notes(_tipped(crouched, "LR", _share(stand.times, 0.6), 22.0, ("heel",)))
