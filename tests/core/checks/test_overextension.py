# SPDX-License-Identifier: GPL-3.0-or-later
"""overextension: the laws on pulled goals, stretched chains and baked limbs; the card; what is natural."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.card import Card
from plumbline.core.catalogue import catalogue
from plumbline.core.note import Result, Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Move
from plumbline.core.runner import finish
from plumbline.core.shot import Character, Shot, with_character
from plumbline.core.testing import edit
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.puppet import act

Array = np.ndarray
SECONDS = 2.5
PEAK = 1.25
X = np.eye(3)[0]


def bump(fps: float, half: float = 0.4) -> Array:
    t = np.arange(round(SECONDS * fps) + 1) / fps
    s = np.clip(1 - np.abs(t - PEAK) / half, 0, 1)
    return s**3 * (10 - 15 * s + 6 * s**2)


def crouch(fps: float) -> Shot:
    """Knees and elbows softly bent, the hips swaying; feet and hands follow goals that they reach."""
    t = np.arange(round(SECONDS * fps) + 1) / fps
    sway = np.stack([0.02 * np.sin(2 * np.pi * t / SECONDS), 0 * t, -0.07 + 0.02 * np.cos(2 * np.pi * t / SECONDS)], -1)
    still = np.zeros_like(sway)
    shot = act({}, still, fps)
    return with_character(shot, shot.characters[0], edit.carry_root(edit.with_goals(shot.characters[0]), sway))


def pulled(
    fps: float, limb: str, share: float, stretch: bool = False, goal: bool = True, weight: Array | None = None
) -> Shot:
    """The limb's end, or its goal, taken out to ``share`` beyond its length and back."""
    shot = crouch(fps)
    character = shot.characters[0]
    if not goal:
        character = replace(character, goals=())
    root, mid, end = body.LIMBS[limb]
    a, c = character.head(root), character.head(end)
    length = character.rest_length(root) + character.rest_length(mid)
    out = a + rot.unit(c - a) * length * (1 + share)
    w = (bump(fps) if weight is None else weight)[:, None]
    return with_character(shot, character, edit.reach(character, limb, c + w * (out - c), stretch))


class TestOverextension(CheckTest):
    check = "overextension"

    def clean(self, fps: float) -> Iterable[Shot]:
        yield crouch(fps)
        yield pulled(fps, "leg.L", -0.002)  # all but straight, and moving on
        posed = crouch(fps)
        still = replace(posed.characters[0], goals=())
        t = np.linspace(0, 1, posed.count)
        slow = np.clip(3 * np.minimum(t, 1 - t), 0, 1)
        slow = slow**3 * (10 - 15 * slow + 6 * slow**2)
        yield with_character(posed, still, fk_straight(still, "arm.R", slow))

    def planted(self, fps: float) -> Iterable[Planted]:
        for limb, part in (("leg.L", "shin.L"), ("arm.R", "forearm.R")):
            for share, severity in ((0.02, "low"), (0.04, "medium"), (0.08, "high")):
                yield Planted(
                    f"{limb} goal {share}", pulled(fps, limb, share), part, severity, share, 0.002, worst=PEAK
                )
                yield Planted(
                    f"{limb} stretch {share}",
                    pulled(fps, limb, share, True, False),
                    part,
                    severity,
                    share,
                    0.002,
                    worst=PEAK,
                )
                yield Planted(f"{limb} baked {share}", pulled(fps, limb, share, goal=False), part, "low", 0.0, 0.1)


def fk_straight(character: Character, limb: str, weight: Array) -> Character:
    """The limb's middle joint turned straight by ``weight`` (F,) of its bend, as a mover poses it."""
    root, mid, end = body.LIMBS[limb]
    upper, lower = character.end(root) - character.head(root), character.end(mid) - character.head(mid)
    turn = rot.log(rot.shortest(lower, upper)) * weight[:, None]
    return edit.turn(character, mid, rot.exp(turn))


def check(shot: Shot) -> Result:
    result = finish(shot, [catalogue()["overextension"]])
    assert not result.failed, result.failed[0].trace
    return result


def test_kinds_and_units():
    (gap,) = check(pulled(24, "leg.L", 0.04)).notes
    assert (gap.kind, gap.unit, gap.limit) == ("gap", "1", 0.03)
    (stretch,) = check(pulled(24, "leg.L", 0.04, True)).notes
    assert (stretch.kind, stretch.unit, stretch.limit) == ("stretch", "1", 0.03)
    (flat,) = check(pulled(24, "leg.L", 0.04, goal=False)).notes
    assert (flat.kind, flat.unit, flat.limit, flat.severity) == ("flat", "deg", 1.0, Severity.LOW)


def test_what_the_card_allows_is_added():
    shot = pulled(24, "leg.L", 0.04, True)

    def carded(share: float) -> Shot:
        return with_character(
            shot, shot.characters[0], replace(shot.characters[0], card=Card(stretch={"leg.L": share}))
        )

    (note,) = [n for n in check(carded(0.02)).notes if n.kind == "stretch"]
    assert (
        note.severity == Severity.LOW
        and note.measured == pytest.approx(0.04, abs=0.002)
        and note.limit == pytest.approx(0.035)
    )
    assert not [n for n in check(carded(0.05)).notes if n.kind == "stretch"]


def test_a_growing_character_does_not_stretch():
    shot = crouch(24)
    character = shot.characters[0]
    size = np.linspace(1, 2, shot.count)
    grown = replace(
        character,
        heads=character.heads * size[:, None, None],
        tails=character.tails * size[:, None, None],
        scale=size,
        goals=(),
    )
    assert not check(with_character(shot, character, grown)).notes


def test_a_gap_of_a_bent_limb_is_the_rigs_own():
    shot = crouch(24)
    character = shot.characters[0]
    goals = tuple(replace(g, place=g.place + [0, 0, 0.1]) for g in character.goals)
    assert not check(with_character(shot, character, replace(character, goals=goals))).notes


def test_a_goal_without_influence_pulls_nothing():
    shot = pulled(24, "arm.L", 0.08)
    character = shot.characters[0]
    goals = tuple(replace(g, influence=0 * g.influence) for g in character.goals)
    assert not [
        n for n in check(with_character(shot, character, replace(character, goals=goals))).notes if n.kind != "flat"
    ]


def test_many_flat_spells_of_a_baked_knee_are_one_note():
    t = np.arange(241) / 24.0
    deep = np.clip(0.5 - 0.6 * np.cos(2 * np.pi * t / 2.0), 0, 1)  # clamped at straight five times
    shot = act({}, np.zeros((len(t), 3)), 24)
    character = fk_straight(shot.characters[0], "leg.R", 1 - deep)
    character = edit.turn(character, "shin.R", rot.exp(np.radians(60 * deep)[:, None] * X))
    (note,) = check(with_character(shot, shot.characters[0], character)).notes
    assert note.kind == "flat" and "spells" in note.text and note.severity == Severity.LOW


def test_a_planted_foot_calls_for_the_pelvis_and_a_swinging_one_for_itself():
    shot = crouch(24)
    character = shot.characters[0]
    rise = bump(24)[:, None] * np.array([0.0, 0.0, 0.12])
    stretched = edit.carry_root(character, rise, ("leg.L", "leg.R", "arm.L", "arm.R"))
    one_foot = edit.reach(stretched, "leg.R", stretched.head("foot.R") + rise)  # the other foot comes along
    (note,) = [n for n in check(with_character(shot, character, one_foot)).notes if n.part.startswith("shin")]
    assert isinstance(note.remedy, Move) and note.remedy.target == "pelvis" and note.remedy.offset[2] < 0
    assert "toward the left foot" in note.remedy.sentence()
    mended = mend(with_character(shot, character, one_foot), note.remedy, character.name)
    assert not [n for n in check(mended).notes if n.part.startswith("shin")]
    (swung,) = check(pulled(24, "leg.L", 0.04)).notes
    assert isinstance(swung.remedy, Move) and swung.remedy.target == "foot.L" and swung.remedy.offset[2] > 0


def test_the_remedy_leaves_fifteen_degrees():
    from plumbline.core.measures.reach import reach
    from plumbline.core.study import Study

    for share in (0.02, 0.08):
        shot = pulled(24, "leg.L", share)
        (note,) = check(shot).notes
        mended = mend(shot, note.remedy, "Keeper")
        bend = Study(mended).of(reach, mended.characters[0])["leg.L"].flexion[note.start - 1 : note.end]
        assert bend.min() == pytest.approx(15.0, abs=1.5)


def test_an_arm_that_swings_while_it_is_pulled_comes_back_along_its_own_line() -> None:
    fps = 24.0
    t = np.arange(round(SECONDS * fps) + 1) / fps
    swing = rot.exp(np.outer(4.0 * np.clip(t - PEAK + 0.4, 0, 0.8), X))
    bent = rot.exp(np.outer(np.full(len(t), 0.4), X))
    shot = act({"upper_arm.L": swing, "forearm.L": bent}, np.zeros((len(t), 3)), fps)
    character = edit.with_goals(shot.characters[0], ("arm.L",))
    a, c = character.head("upper_arm.L"), character.head("hand.L")
    length = character.rest_length("upper_arm.L") + character.rest_length("forearm.L")
    out = a + rot.unit(c - a) * length * 1.08
    shot = with_character(shot, shot.characters[0], edit.reach(character, "arm.L", c + bump(fps)[:, None] * (out - c)))
    study = finish(shot, [catalogue()["overextension"]])
    (note,) = [n for n in study.notes if n.part == "forearm.L"]
    assert len(note.remedy.offsets) == note.end - note.start + 1
    assert note.remedy.offset == note.remedy.offsets[note.worst - note.start]
    mended = finish(mend(shot, note.remedy, note.character), [catalogue()["overextension"]])
    assert not [n for n in mended.notes if n.part == "forearm.L"]
