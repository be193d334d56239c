# SPDX-License-Identifier: GPL-3.0-or-later
"""joint-limit: the laws, the table beside its published values, card limits, what is not measured."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.card import Card
from plumbline.core.catalogue import catalogue
from plumbline.core.checks.joint_limit import bounds
from plumbline.core.note import Result, Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.runner import finish
from plumbline.core.shot import Shot
from plumbline.core.tables.joint_ranges import ANY_BODY, BY_NAME, RANGES
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act, adult

Array = np.ndarray
SECONDS = 2.5
PEAK = 1.25
X, Y, Z = np.eye(3)


def bump(fps: float, half: float = 0.27) -> Array:
    """0 to 1 and back, minimum jerk, its top at PEAK seconds."""
    t = np.arange(round(SECONDS * fps) + 1) / fps
    s = np.clip(1 - np.abs(t - PEAK) / half, 0, 1)
    return s**3 * (10 - 15 * s + 6 * s**2)


def turning(axis: Array, degrees: Array) -> Array:
    return rot.exp(np.radians(degrees)[:, None] * rot.unit(axis))


def hinge_axis(part: str) -> tuple[Array, float]:
    """The axis about which the puppet's part bends farther, and how many degrees it is bent at rest."""
    puppet = adult()
    above = body.parent(part)
    i, j = puppet.parts.index(above), puppet.parts.index(part)
    below = body.next_part(part)
    end = puppet.heads[puppet.parts.index(below)] if below else puppet.tails[j]
    upper, lower = puppet.heads[j] - puppet.heads[i], end - puppet.heads[j]
    return rot.unit(np.cross(upper, lower)), float(np.degrees(rot.angle_between(upper, lower)))


def bent(part: str, degrees: float, fps: float) -> Shot:
    """The part's joint taken from rest to ``degrees`` of bend (negative: the wrong way) and back."""
    axis, rest = hinge_axis(part)
    top = bump(fps)
    return act({part: turning(axis, (degrees - rest) * top)}, np.zeros((len(top), 3)), fps)


def spread(degrees: float, fps: float, side: str = "L") -> Shot:
    top = bump(fps, 0.5)
    axis = -Y if side == "L" else Y
    return act({f"thigh.{side}": turning(axis, degrees * top)}, np.zeros((len(top), 3)), fps)


class TestJointLimit(CheckTest):
    check = "joint-limit"

    def clean(self, fps: float) -> Iterable[Shot]:
        t = np.arange(round(3 * fps) + 1) / fps
        wave = 0.5 - 0.5 * np.cos(2 * np.pi * t / 1.5)
        still = np.zeros((len(t), 3))
        knee, _ = hinge_axis("shin.L")
        elbow, _ = hinge_axis("forearm.R")
        yield act({}, still, fps)
        yield act(
            {
                "thigh.L": turning(-X, 110 * wave),
                "shin.L": turning(knee, 135 * wave),
                "foot.L": turning(-X, 35 * wave),
                "upper_arm.R": turning(-X, 150 * wave),
                "forearm.R": turning(elbow, 120 * wave),
                "hand.R": turning(X, 55 * wave),
                "thigh.R": turning(X, 20 * wave),
                "head": turning(Z, 75 * wave),
                "chest": turning(-X, -80 * wave),
            },
            still,
            fps,
        )
        yield act(
            {"thigh.R": turning(Y, 50 * wave), "upper_arm.L": turning(-Y, 160 * wave), "chest": turning(Y, 35 * wave)},
            still,
            fps,
        )

    def planted(self, fps: float) -> Iterable[Planted]:
        for past, severity in ((5, "low"), (15, "medium"), (30, "high")):
            for part, limit in (("shin.L", 5), ("forearm.R", 8)):
                yield Planted(
                    f"{part} reversed {past}",
                    bent(part, -(limit + past), fps),
                    part,
                    severity,
                    limit + past,
                    0.5,
                    worst=PEAK,
                )
            yield Planted(
                f"wrist {past}", bent("hand.L", 80 + past, fps), "hand.L", severity, 80 + past, 0.5, worst=PEAK
            )
            yield Planted(f"hip {past}", spread(60 + past, fps, "R"), "thigh.R", severity, 60 + past, 3.0, worst=PEAK)
        yield Planted("knee folded", bent("shin.R", 170, fps), "shin.R", "medium", 170, 0.5, worst=PEAK)
        top = bump(fps)
        still = np.zeros((len(top), 3))
        yield Planted(
            "head turned", act({"head": turning(Z, 105 * top)}, still, fps), "head", "medium", 105, 3.0, worst=PEAK
        )
        yield Planted(
            "back arched", act({"chest": turning(-X, 50 * top)}, still, fps), "chest", "medium", 50, 1.0, worst=PEAK
        )


def check(shot: Shot) -> Result:
    result = finish(shot, [catalogue()["joint-limit"]])
    assert not result.failed, result.failed[0].trace
    return result


def with_card(shot: Shot, **card: object) -> Shot:
    return replace(shot, characters=(replace(shot.characters[0], card=Card(**card)),))


def test_a_peak_of_one_frame_is_low_at_most():
    axis, rest = hinge_axis("shin.L")
    degrees = np.zeros(60)
    degrees[30] = -(60 + rest)
    (note,) = check(act({"shin.L": turning(axis, degrees)}, np.zeros((60, 3)))).notes
    assert (note.severity, note.start, note.end, note.worst) == (Severity.LOW, 31, 31, 31)
    assert note.measured == pytest.approx(60, abs=0.01)


def test_what_no_one_can_measure_is_not_told_but_the_card_is_taken_at_its_word():
    assert not check(spread(62.5, 24)).notes
    (note,) = check(spread(64, 24)).notes
    assert note.severity == Severity.LOW and note.limit == 60
    (note,) = check(with_card(spread(62, 24), limits={"hip_abduction": (None, 60.0)})).notes
    assert note.severity == Severity.LOW and note.limit == 60


def test_a_fold_past_half_a_turn_is_no_reversed_joint():
    (note,) = check(bent("shin.L", 200, 24)).notes
    assert note.kind == "flexion" and note.measured == pytest.approx(200, abs=0.5)


def test_a_knee_reversed_for_the_whole_shot_still_reads_as_reversed():
    axis, rest = hinge_axis("shin.L")
    degrees = -(40 + rest) + 10 * np.sin(np.arange(80) / 6)
    (note,) = check(act({"shin.L": turning(axis, degrees)}, np.zeros((80, 3)))).notes
    assert note.kind == "hyperextension" and note.severity == Severity.HIGH
    assert note.measured == pytest.approx(50, abs=0.5)


def test_card_limits_stand_above_the_table():
    shot = bent("shin.L", 120, 24)
    assert not check(shot).notes
    for name in ("knee_flexion", "knee_flexion.L"):
        (note,) = check(with_card(shot, limits={name: (None, 100.0)})).notes
        assert note.severity == Severity.MEDIUM and note.limit == 110 and "card" in note.source
    assert not check(with_card(shot, limits={"knee_flexion.R": (None, 100.0)})).notes
    reversed_knee = bent("shin.L", -15, 24)
    assert check(reversed_knee).notes
    assert not check(with_card(reversed_knee, limits={"knee_flexion": (-30.0, None)})).notes
    (note,) = check(with_card(spread(30, 24), limits={"arm_elevation": (10.0, None), "neck_tilt": (None, 5.0)})).notes[
        :1
    ]
    assert note.part.startswith("upper_arm") and note.measured < 0


def test_a_card_that_names_no_angle_is_told():
    (skip,) = check(with_card(bent("shin.L", 20, 24), limits={"knee": (0.0, 90.0)})).skipped
    assert '"knee"' in skip.why and "knee_flexion" in skip.why


def test_without_a_human_only_reversed_joints_and_the_card():
    def beast(shot: Shot) -> Shot:
        return replace(shot, characters=(replace(shot.characters[0], human=False),))

    assert not check(beast(spread(85, 24))).notes
    assert check(beast(bent("shin.L", -20, 24))).notes
    assert {b.range.name for p in body.PARTS for b in bounds(beast(spread(0, 24)).characters[0], p)} == set(ANY_BODY)


def test_on_a_doll_the_table_is_a_hint_and_the_card_and_reversed_knees_are_not():
    def doll(shot: Shot) -> Shot:
        """Its shins half as long, at rest and in motion."""
        c = shot.characters[0]
        rest, now = c.rest_heads.copy(), c.heads.copy()
        rest_tails, tails = c.rest_tails.copy(), c.tails.copy()
        for s in body.SIDES:
            knee = c.index[f"shin.{s}"]
            up, up_now = (c.rest_end(f"shin.{s}") - rest[knee]) / 2, (c.end(f"shin.{s}") - now[:, knee]) / 2
            for k in (c.index[f"foot.{s}"], c.index[f"toe.{s}"]):
                rest[k], rest_tails[k] = rest[k] - up, rest_tails[k] - up
                now[:, k], tails[:, k] = now[:, k] - up_now, tails[:, k] - up_now
        return replace(
            shot,
            characters=(replace(c, rest_heads=rest, heads=now, rest_tails=rest_tails, tails=tails),),
        )

    (loud,) = check(spread(95, 24)).notes
    (note,) = check(doll(spread(95, 24))).notes
    assert loud.severity == Severity.HIGH and "people" not in loud.text
    assert note.severity == Severity.LOW and note.measured == pytest.approx(loud.measured) and note.limit == 60
    assert "low at most, for the shin is 0.5" in note.text
    assert [s.why for s in check(doll(spread(95, 24))).skipped if "25 deg past them" in s.why]
    assert check(spread(80, 24)).notes and not check(doll(spread(80, 24))).notes, "a hint is no more than that"
    (note,) = check(with_card(doll(spread(80, 24)), limits={"hip_abduction": (None, 60.0)})).notes
    assert note.severity == Severity.MEDIUM
    (note,) = check(with_card(doll(spread(95, 24)), limits={"hip_abduction": (None, 60.0)})).notes
    assert note.severity == Severity.HIGH
    (note,) = check(doll(bent("shin.L", -40, 24))).notes
    assert note.severity == Severity.HIGH and note.kind == "hyperextension"


def test_a_figure_whose_names_mean_the_viewers_sides_spreads_its_legs_outward_all_the_same():
    shot = spread(85, 24)
    c = shot.characters[0]
    swapped = replace(shot, characters=(replace(c, parts=tuple(body.mirror(p) for p in c.parts)),))
    (there,), (here,) = check(shot).notes, check(swapped).notes
    assert here.part == body.mirror(there.part)
    assert (here.kind, here.severity) == (there.kind, there.severity)
    assert here.measured == pytest.approx(there.measured, abs=0.1)


def arms_back(swing: Array) -> Shot:
    """The adult with its arms modeled bent 30 degrees to the back, the left elbow turned by ``swing`` degrees about
    its hinge, toward the front."""
    puppet = adult()
    heads, tails = puppet.heads.copy(), puppet.tails.copy()
    for s in body.SIDES:
        root, mid, end = (puppet.parts.index(f"{p}.{s}") for p in ("upper_arm", "forearm", "hand"))
        line = heads[mid] - heads[root]
        back = rot.exp(np.radians(30.0) * X)
        down = rot.unit(line) * np.linalg.norm(heads[end] - heads[mid])
        shift = heads[mid] + back @ down - heads[end]
        heads[end], tails[end], tails[mid] = heads[end] + shift, tails[end] + shift, heads[mid] + back @ down
    bent_back = replace(puppet, heads=heads, tails=tails)
    return act({"forearm.L": turning(-X, swing)}, np.zeros((len(swing), 3)), 24, bent_back)


def test_an_arm_modelled_to_the_back_tells_its_sign_by_its_motion_or_not_at_all():
    t = np.arange(60) / 24
    one_way = check(arms_back(-30 * np.sin(np.pi * t) ** 2))
    assert not one_way.notes and not [s for s in one_way.skipped if "left" in s.why]
    both = check(arms_back(30 + 60 * np.sin(2 * np.pi * t)))
    assert not both.notes
    (skip,) = [s for s in both.skipped if "left" in s.why]
    assert "elbow hyperextension" in skip.why and "both ways" in skip.why


def test_a_hand_that_bears_weight_tilts_farther():
    def on_hands(height: float) -> Shot:
        """The left arm let down until its wrist, which does not move, is ``height`` above the toes."""
        shot = bent("hand.L", 90, 24)
        c = shot.characters[0]
        heads, tails = c.heads.copy(), c.tails.copy()
        drop = c.head("hand.L")[0, 2] - heads[0, c.index["toe.L"], 2] - height
        for row in (c.index[p] for p in ("upper_arm.L", "forearm.L", "hand.L")):
            heads[:, row, 2] -= drop
            tails[:, row, 2] -= drop
        return replace(shot, characters=(replace(c, heads=heads, tails=tails),))

    assert not check(on_hands(0.02)).notes
    (note,) = check(on_hands(0.5)).notes
    assert note.part == "hand.L"


def test_a_straight_leg_without_a_foot_is_not_judged_and_said():
    puppet = adult()
    keep = [i for i, p in enumerate(puppet.parts) if body.base(p) not in ("foot", "toe")]
    heads = puppet.heads.copy()
    for side in "LR":
        row = puppet.parts.index(f"shin.{side}")
        heads[row, 1] = heads[puppet.parts.index(f"thigh.{side}"), 1]
    tails = puppet.tails.copy()
    for part, x in (("shin.L", 0.09), ("shin.R", -0.09)):
        tails[puppet.parts.index(part)] = (x, 0, 0.08)
    bare = replace(
        puppet, parts=tuple(puppet.parts[i] for i in keep), heads=heads[keep], tails=tails[keep], axes=puppet.axes[keep]
    )
    result = check(act({}, np.zeros((30, 3)), 24, bare))
    assert not result.notes
    assert sum("hyperextension" in s.why and "not measured" in s.why for s in result.skipped) == 2


def test_missing_parts_are_told():
    puppet = adult()
    keep = [i for i, p in enumerate(puppet.parts) if p != "hand.L"]
    bare = replace(
        puppet,
        parts=tuple(puppet.parts[i] for i in keep),
        heads=puppet.heads[keep],
        tails=puppet.tails[keep],
        axes=puppet.axes[keep],
    )
    result = check(act({}, np.zeros((30, 3)), 24, bare))
    assert ["left hand" in s.why for s in result.skipped] == [True]


# Ends of ranges as the sources print them, read again by hand: angle -> (published values, where).
PRINTED = {
    "knee_flexion": ((130.0, 152.6, 147.8, 127.6), ("medicospace.com", "Soucie 2011", "s40101-016-0120-8")),
    "knee_hyperextension": ((5.4, 1.6), ("Soucie 2011",)),
    "elbow_flexion": ((150.0, 140.0, 143.0, 149.0), ("AAOS", "AMA", "Boone and Azen", "Macedo")),
    "elbow_hyperextension": ((0.0, 0.0, 1.0, 2.0), ("AAOS", "AMA", "Boone and Azen", "Macedo")),
    "wrist_tilt": ((80.0, 60.0, 76.0, 93.0, 70.0, 60.0, 75.0, 86.0), ("AAOS", "AMA", "Boone and Azen", "Macedo")),
    "hip_flexion": ((125.0, 140.8, 131.1, 122.6), ("medicospace.com", "Soucie 2011", "s40101-016-0120-8")),
    "hip_extension": ((15.0, 26.2, 28.3, 16.8), ("medicospace.com", "Soucie 2011", "s40101-016-0120-8")),
    "hip_abduction": ((45.0,), ("medicospace.com",)),
    "hip_adduction": ((45.0,), ("medicospace.com",)),
    "ankle_dorsiflexion": ((20.0, 24.8, 22.8, 17.7), ("medicospace.com", "Soucie 2011", "s40101-016-0120-8")),
    "ankle_plantarflexion": ((50.0, 58.0), ("medicospace.com", "s40101-016-0120-8")),
    "arm_behind": ((60.0, 50.0, 62.0, 70.0), ("AAOS", "AMA", "Boone and Azen", "Macedo")),
    "arm_elevation": (
        (180.0, 170.0, 184.0, 188.0, 180.0, 180.0, 167.0, 188.0),
        ("AAOS", "AMA", "Boone and Azen", "Macedo"),
    ),
    "neck_tilt": ((64.0, 63.0, 49.0), ("anatomystandard.com",)),
    "neck_rotation": ((60.0, 80.0), ("exrx.net",)),
    "trunk_forward": ((60.0, 75.0), ("Kurz", "weak web source")),
    "trunk_back": ((25.0, 30.0), ("Kurz", "weak web source")),
    "trunk_side": ((25.0, 35.0), ("Kurz", "weak web source")),
    "hip_internal_rotation": ((45.0, 35.2, 29.6), ("medicospace.com", "Kouyoumdjian 2012")),
    "hip_external_rotation": ((45.0, 41.8, 38.5), ("medicospace.com", "Kouyoumdjian 2012")),
}


@pytest.mark.parametrize("row", RANGES, ids=lambda r: r.name)
def test_limits_are_printed_beside_what_was_published(row):
    if row.published is None:
        assert row.name not in PRINTED and "common practice, no source" in row.source
        return
    values, sources = PRINTED[row.name]
    assert (row.published.least, row.published.most) == (min(values), max(values))
    assert all(s in row.published.source for s in sources)
    assert f"{max(values):g} deg" in row.source and row.published.source in row.source
    if row.most is not None:
        assert f"{row.most:g} deg" in row.source


@pytest.mark.parametrize("row", [r for r in RANGES if r.most is not None and r.published], ids=lambda r: r.name)
def test_none_is_tighter_than_published_without_a_reason(row):
    if row.most < row.published.most:
        assert f"{row.published.most:g}" in row.reason, (
            f"{row.name}: say why {row.most:g} is under {row.published.most:g}"
        )


def test_opposites_point_at_each_other():
    for row in RANGES:
        if row.opposite:
            assert BY_NAME[row.opposite].opposite == row.name and BY_NAME[row.opposite].part == row.part
