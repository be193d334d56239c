# SPDX-License-Identifier: GPL-3.0-or-later
"""Low notes that tell one thing several times are one note; what is louder, other, or far apart stays by itself."""

from dataclasses import replace

from plumbline.core.note import KeyReference, Note, Severity
from plumbline.core.remedy import Move
from plumbline.core.repeats import joined

FPS = 24.0


def note(part="shin.L", start=10, end=14, measured=0.4, severity="low", check="overextension", kind="flat"):
    return Note(check=check, lane="Limbs", character="Keeper", part=part, start=start, end=end, worst=start + 1,
                severity=Severity(severity), measured=measured, limit=1.0, unit="deg", source="test",
                text=f"The {part} stands straight", remedy=None, evidence=(), kind=kind, parts=(part,))


def test_both_knees_and_every_step_are_one_note_about_the_worst_of_them():
    (one,) = joined([note(), note("shin.R", 25, 30, 0.2), note(start=40, end=43)], FPS)
    assert (one.start, one.end, one.worst, one.part, one.measured) == (10, 43, 26, "shin.R", 0.2)
    assert one.parts == ("shin.R", "shin.L") and one.severity == Severity.LOW
    assert one.text == ("The shin.R stands straight; so too the left shin in frames 10 to 14, "
                        "the left shin in frames 40 to 43, 3 in all")


def test_the_remedy_and_the_keys_are_those_of_the_worst_and_the_next_is_told_when_it_is_mended():
    spells = [replace(note(start=start, end=start + 4, measured=measured),
                      keys=(KeyReference("Keeper", "x", (start,)),),
                      remedy=Move("foot.L", (0.0, 0.0, -0.01), (start, start + 4)))
              for start, measured in ((10, 0.4), (20, 0.2), (30, 0.6))]
    left, told = list(spells), []
    while left:
        (one,) = joined(left, FPS)
        worst = next(n for n in left if n.remedy == one.remedy)
        assert one.keys == worst.keys and one.measured == worst.measured
        assert ("the remedy is for this one, and the next is told when it is mended" in one.text) == (len(left) > 1)
        assert f"{len(left)} in all" in one.text or len(left) == 1
        told.append(worst.start)
        left.remove(worst)
    assert told == [20, 10, 30], "each is told in its turn, the worst first"


def test_where_more_is_worse_the_largest_stays():
    (one,) = joined([note(measured=3.0), note(start=20, end=21, measured=5.0)], FPS)
    assert one.measured == 5.0 and one.text.endswith("so too in frames 10 to 14, 2 in all")


def test_what_comes_again_later_than_a_second_is_another_note():
    assert len(joined([note(), note(start=14 + 24, end=40)], FPS)) == 1
    assert len(joined([note(), note(start=14 + 25, end=40)], FPS)) == 2
    assert len(joined([note(), note(start=14 + 25, end=40)], 2 * FPS)) == 1, "a second has more frames there"


def test_a_long_spell_reaches_over_short_ones():
    notes = [note(start=1, end=100), note("shin.R", 10, 12), note(start=110, end=112)]
    assert len(joined(notes, FPS)) == 1


def test_what_is_above_low_or_not_the_same_stays_by_itself():
    low = note()
    others = [note(start=20, end=22, severity="medium"), note("forearm.L", 20, 22), note(start=20, end=22, kind="gap"),
              note(start=20, end=22, check="pop"), replace(note(start=20, end=22), trial=True), note(start=20, end=20),
              replace(note(start=20, end=22), character="Child"),
              replace(note(start=20, end=22), parts=("shin.L", "forearm.L"))]
    for other in others:
        assert sorted(joined([low, other], FPS), key=lambda n: n.start) == [low, other]
    for first, last, said in ((10, 14, {"severity": Severity.MEDIUM}), (10, 14, {"trial": True}), (10, 10, {})):
        two = [replace(note(start=k + first, end=k + last), **said) for k in (0, 10)]
        assert joined(two, FPS) == two


def test_two_feet_that_slip_are_two_faults():
    feet = [note("foot.L", check="slip", kind=""), note("foot.R", 20, 22, check="slip", kind="")]
    assert joined(feet, FPS) == feet
    assert len(joined([feet[0], replace(feet[1], part="foot.L", parts=("foot.L",))], FPS)) == 1


def test_things_of_the_stage_that_share_a_name_are_not_one():
    one, two = (replace(note(check="tangent", kind="", start=s), parts=("head", name))
                for s, name in ((10, "Lantern.001"), (12, "Lantern.002")))
    assert joined([one, two], FPS) == [one, two]


def test_many_spells_are_counted():
    (one,) = joined([note(start=10 * k, end=10 * k + 2) for k in range(8)], FPS)
    assert one.text.endswith("in frames 40 to 42 and 3 times more, 8 in all") and (one.start, one.end) == (0, 72)
