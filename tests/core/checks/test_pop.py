# SPDX-License-Identifier: GPL-3.0-or-later
"""pop: the laws; joints that slow down, stay bent or stay straight; which end the remedy moves; twos and stepped."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.checks.pop import snaps
from plumbline.core.measures.limbs import limbs
from plumbline.core.note import Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Soften
from plumbline.core.shot import Shot, with_character
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.puppet import act, adult

Array = np.ndarray
SECONDS = 2.5
AT = 1.0                                 # on a frame at 24, 25, 30, 60
MID = {"arm": "forearm", "leg": "shin"}


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def read(fps: float) -> float:
    """Drawings a second that are read."""
    return fps / 2 if fps > 36 else fps


def bent(limb: str, degrees: Array, fps: float) -> Shot:
    """A figure whose limb has this bend (F,), its elbow or knee turned alone."""
    puppet = adult()
    side = limb[-1]
    root, mid = (("upper_arm", "forearm") if limb.startswith("arm") else ("thigh", "shin"))
    a, b = (puppet.tails[i] - puppet.heads[i] for i in (puppet.parts.index(f"{p}.{side}") for p in (root, mid)))
    axis = rot.unit(np.cross(a, b))
    rest = np.degrees(rot.angle_between(a, b))
    turn = rot.exp(np.outer(np.radians(degrees - rest), axis))
    lifted = {f"thigh.{side}": np.broadcast_to(rot.exp(np.array([-0.6, 0, 0])), turn.shape)} if "leg" in limb else {}
    return act({f"{mid}.{side}": turn, **lifted}, np.zeros((len(degrees), 3)), fps)


def swing(t: Array, low: float, high: float = 50.0) -> Array:
    """From ``high`` down to ``low`` at AT and back, as a joint does it."""
    return np.asarray(low + (high - low) * (1 - np.cos(2 * np.pi * np.clip((t - AT) / 1.2, -0.5, 0.5))) / 2)


def chain(t: Array, fps: float, into: float, out: float, stays: float = 0.25, slope: float = 36.0) -> Array:
    """A bend that falls evenly by ``slope`` degrees a second, in one frame by ``into`` degrees a frame of 24 more to
    straight, and so on the way out by ``out``; both are told at the rate that is read."""
    rate = read(fps)
    jump, leap = (slope / rate + more * 24 / rate for more in (into, out))
    first = np.round(AT * rate) / rate
    last = first + np.round(stays * rate) / rate
    before = slope * np.maximum(0.0, first - 1 / rate - t) + jump
    after = slope * np.maximum(0.0, t - last - 1 / rate) + leap
    return np.where(t < first - 1e-6, np.where(t > first - 1 / rate + 1e-6, jump, before),
                    np.where(t > last + 1e-6, np.where(t < last + 1 / rate - 1e-6, leap, after), 0.3))


class TestPop(CheckTest):
    check = "pop"

    def clean(self, fps: float) -> Iterable[Shot]:
        t = times(fps)
        for limb in ("arm.L", "leg.R"):
            yield bent(limb, swing(t, 2.0), fps)                            # slows down before it is straight
            yield bent(limb, swing(t, 2.0, 110.0), fps)                     # so fast that nothing faster was measured
        yield bent("arm.R", np.minimum(swing(t, 2.0), 35.0), fps)
        yield bent("arm.L", np.where(t < AT, 60.0, 30.0), fps)              # snaps, but stays bent
        yield bent("arm.L", np.full(len(t), 0.3), fps)
        yield bent("leg.L", np.maximum(0.3, 40 * (1 - t / AT)), fps)        # evenly into straight, and stays

    def planted(self, fps: float) -> Iterable[Planted]:
        t = times(fps)
        rate = read(fps)
        for limb, into, out, drawings, severity in (
            # straight for a drawing or two: a snap; for longer a chain that is pulled to its length
            ("leg.L", 20.0, 22.0, 1, "high"), ("arm.R", 8.0, 9.0, 2, "medium"), ("arm.L", 25.0, 0.0, 1, "low"),
            ("arm.L", 25.0, 26.0, 4, "low"), ("leg.R", 5.0, 0.0, 7, "low"),
        ):
            shot = bent(limb, chain(t, fps, into, out, (drawings - 1) / rate), fps)
            end = np.round(AT * rate) / rate + (drawings - 1) / rate
            # the flat of 0.3 degrees takes its share
            measured = max(into, out) - 0.3 * rate / 24
            part = f"{MID[limb[:3]]}.{limb[-1]}"
            yield Planted(f"{limb} by {into:g} and {out:g}", shot, part, severity, measured, 0.3, AT, end,
                          AT if into >= out else end, slack=1 / rate)

    def test_one_frame_that_is_off_is_told_by_half_of_what_it_is_off(self) -> None:
        t = times(24.0)
        bend = swing(t, 20.0)
        at = round(AT * 24)
        bend[at] -= 15
        note, = self.notes(bent("arm.L", bend, 24.0))
        assert (note.start, note.worst, note.end) == (at + 1, at + 1, at + 1)
        assert note.severity is Severity.HIGH and note.measured > 12
        assert f"in frame {at + 1}" in note.text and "left elbow" in note.text
        _, _, into, out, spike = next(snaps(bend))
        assert spike == pytest.approx(15, abs=0.5) and into < 15 and out < 15

    def test_a_joint_that_pops_again_and_again_is_one_note(self) -> None:
        t = times(24.0)
        bend = 35 + 10 * np.sin(5 * t)
        bend[8::8] = 4.0
        note, = self.notes(bent("leg.R", bend, 24.0))
        assert note.start == 9 and note.end >= 49 and "so too in frames" in note.text

    def test_above_36_frames_a_second_the_phases_are_read(self) -> None:
        found = {}
        for fps in (24.0, 120.0):
            t = times(fps)
            note, = self.notes(bent("arm.L", np.where(np.abs(t - AT) < 1.5 / 24, 3.0, 45.0 + t), fps))
            found[fps] = note.measured
        assert found[120.0] == pytest.approx(found[24.0], rel=0.05)

    def test_a_standing_leg_is_mended_at_the_pelvis_and_a_swinging_one_at_the_foot(self) -> None:
        t = times(24.0)
        bend = swing(t, 18.0, 40.0)
        at = round(AT * 24)
        bend[at] = 3.0
        swings = bent("leg.L", bend, 24.0)
        note, = self.notes(swings)
        assert isinstance(note.remedy, Soften)
        assert (note.remedy.target, note.remedy.toward) == ("foot.L", "toward the hip")
        # the same leg with its foot held where it is: the body rises for one frame
        who = swings.characters[0]
        held = edit.shift(who, who.head("foot.L")[at - 1] - who.head("foot.L"))
        standing = with_character(swings, who, held)
        note, = [n for n in self.notes(standing) if n.part == "shin.L"]
        assert isinstance(note.remedy, Soften) and note.remedy.target == "pelvis" and "left foot" in note.remedy.toward

    def test_a_hand_that_is_thrown_aside_as_well_comes_back_to_its_way(self) -> None:
        t = times(24.0)
        at = round(AT * 24)
        clean = bent("arm.L", swing(t, 25.0), 24.0)
        who = clean.characters[0]
        place = who.head("hand.L").copy()
        out = rot.unit(place[at] - who.head("upper_arm.L")[at])
        place[at] += 0.012 * out + 0.03 * rot.unit(np.cross(out, [0.0, 0.0, 1.0]))
        shot = with_character(clean, who, edit.reach(who, "arm.L", place, solve=np.arange(len(t)) == at))
        note, = self.notes(shot)
        assert note.severity is Severity.HIGH and note.remedy is not None
        after = mend(shot, note.remedy, who.name).characters[0].head("hand.L")
        assert np.linalg.norm(after[at] - who.head("hand.L")[at]) < 0.003

    def test_twos_are_judged_on_their_drawings_and_stepped_is_said(self) -> None:
        t = times(24.0)
        bend = swing(t, 20.0)
        bend[round(AT * 24)] -= 16
        shot = bent("arm.L", bend, 24.0)
        who = shot.characters[0]

        def held(step: int) -> Shot:
            at = np.arange(shot.count) // step * step
            return with_character(shot, who, replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                                                     twist_axes=who.twist_axes[at]))

        note, = self.notes(held(2))
        assert note.start == 25
        result = self.result(held(8))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)

    def test_the_remedy_leaves_a_smooth_bend(self) -> None:
        t = times(24.0)
        for limb in ("arm.L", "leg.R"):
            for into, out in ((25.0, 0.0), (20.0, 22.0)):
                shot = bent(limb, chain(t, 24.0, into, out), 24.0)
                note, = self.notes(shot)
                who = shot.characters[0]
                assert isinstance(note.remedy, Soften)
                known = Study(shot).of(limbs, who)
                k = known.at(limb)
                far = np.linalg.norm(known.end[k] - known.root[k], axis=-1)
                first, last = (f - 1 for f in note.remedy.frames)
                nearer = np.linalg.norm(np.array(note.remedy.offsets), axis=-1)
                assert len(nearer) == last - first + 1 and 0.001 < nearer.max() < (0.03 * far[first : last + 1]).min()
