# SPDX-License-Identifier: GPL-3.0-or-later
"""airborne: silent on jumps that gravity makes, on walks and on what a rope may carry; reads the gravity of others."""
from dataclasses import replace

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.measures.flights import Flight, flights
from plumbline.core.runner import finish
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.pivot_turns import hop
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.replay import stretched

RATES = (24.0, 30000 / 1001, 60.0)


def _flight(shot) -> Flight:
    (flight,) = Study(shot).of(flights, shot.characters[0]).found
    return flight


class TestAirborne(CheckTest):
    check = "airborne"
    rates = RATES

    def clean(self, fps):
        yield jump(fps)
        yield jump(fps, speed=1.5)
        yield hop(fps).shot
        yield walk(fps).shot

    def planted(self, fps):
        for share, severity in ((1.1, "low"), (1.25, "medium"), (1.5, "high")):
            air = 2 * 2.0 / share * share**2 / 9.81
            yield Planted(f"stretched by {share}", jump(fps, flight=share), "pelvis", severity, 1 / share**2, 0.02,
                          start=0.8, end=0.8 + air, worst=0.8 + air / 2, slack=0.02)
        air = 2 * 2.4 * 0.76 / 9.81
        yield Planted("squeezed", jump(fps, speed=2.4, flight=0.76, seconds=3.4), "pelvis", "high", 1 / 0.76**2, 0.06,
                      start=0.8, end=0.8 + air, slack=0.02)
        air = 4.0 / 9.81
        yield Planted("pushed", jump(fps, aside=0.3), "pelvis", "medium", 0.3, 0.02, start=0.8, end=0.8 + air,
                      worst=0.8 + air / 2, slack=0.02)

    def test_a_flight_stretched_afterward_reads_as_much_less_gravity(self):
        shot = jump(24.0)
        flight = _flight(shot)
        first, last = shot.frame(flight.first - 1), shot.frame(flight.last + 1)
        for added in (2, 4, 5):
            share = (last - first + added) / (last - first)
            assert abs(_flight(stretched(shot, "Keeper", first, last, added)).pull - share**-2) < 0.02

    def test_masses_that_are_only_guessed_tell_what_would_be_high_as_low(self):
        for share, known, guessed in ((1.1, ["low"], []), (1.25, ["medium"], []), (1.5, ["high"], ["low"])):
            shot = jump(24.0, flight=share)
            doll = replace(shot, characters=(edit.with_short_legs(shot.characters[0]),))
            assert [n.severity for n in self.notes(shot)] == known
            assert [n.severity for n in self.notes(doll)] == guessed

    def test_that_guessed_masses_keep_flights_silent_is_said_in_the_words_of_undriven_move(self):
        def said(shot, check="airborne"):
            return [s.why for s in finish(shot, [catalogue()[check]]).skipped]

        shot = jump(24.0, flight=1.25)
        doll = replace(shot, characters=(edit.with_short_legs(shot.characters[0]),))
        assert said(doll) == said(doll, "undriven-move") and "type them on the card" in said(doll)[0]
        assert not said(shot), "masses that are known keep nothing silent"
        still = jump(24.0, speed=0.1)
        assert not said(replace(still, characters=(edit.with_short_legs(still.characters[0]),))), "there is no flight"

    def test_two_flights_of_three_frames_tell_too_little(self):
        """0.1 s in the air: two standard errors are 0.28 g, so a flight at 0.75 g may be a true one."""
        shot = jump(24.0, speed=0.75, flight=0.9, seconds=2.4)
        assert not self.notes(shot)

    def test_who_stays_up_for_long_is_carried(self):
        """1.7 s over the ground and 4 m along it, as on a rope."""
        shot = jump(24.0, flight=4.2, seconds=5.0)
        along = np.clip((shot.times - 0.8) / 1.7, 0, 1)[:, None] * [0.0, -4.0, 0.0]
        result = self.result(replace(shot, characters=(edit.shift(shot.characters[0], along),)))
        assert not result.notes
        assert [s for s in result.skipped if "too long for a flight" in s.why]

    def test_who_sits_high_as_the_shot_begins_is_in_no_flight(self):
        """Feet 20 cm up, all still, then down to the floor within 0.5 s: a seat that the scene does not show."""
        shot = jump(24.0, speed=0.1)
        t = shot.times
        up = 0.25 * (1 - smooth((t - 0.9) / 0.5))[:, None] * [0.0, 0.0, 1.0]
        assert not self.notes(replace(shot, characters=(edit.shift(shot.characters[0], up),)))

    def test_stepped_motion_is_skipped(self):
        shot = jump(24.0)
        c = shot.characters[0]
        rows = np.arange(shot.count) // 9 * 9
        held = replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows], twist_axes=c.twist_axes[rows])
        result = self.result(replace(shot, characters=(held,)))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)

    def test_on_twos_it_is_judged_by_its_drawings(self):
        for share, count in ((1.0, 0), (1.5, 1)):
            shot = jump(24.0, flight=share)
            c = shot.characters[0]
            rows = np.arange(shot.count) // 2 * 2
            twos = replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows],
                           twist_axes=c.twist_axes[rows])
            notes = self.notes(replace(shot, characters=(twos,)))
            assert len(notes) == count
            assert all(abs(n.measured - share**-2) < 0.05 for n in notes)

    def test_another_gravity(self):
        shot = jump(24.0)
        moon = replace(shot, gravity=np.array([0.0, 0.0, -1.62]))
        (note,) = self.notes(moon)
        assert note.kind == "drops" and abs(note.measured - 9.81 / 1.62) < 0.1
        none = self.result(replace(shot, gravity=np.zeros(3)))
        assert not none.notes and any("no gravity" in s.why for s in none.skipped)

    def test_a_mouse_and_a_giant_fly_by_their_own_size(self):
        shot = jump(24.0, flight=1.25)
        told = self.the_note(Planted("", shot, "pelvis", "medium", 0.64, 0.02), 24.0)
        big = edit.scaled(shot, 100.0)
        c = big.characters[0]
        big = replace(big, characters=(replace(c, card=replace(c.card, height=1.75)),))
        (note,) = finish(big, [catalogue()["airborne"]]).notes
        assert note.severity == told.severity and abs(note.measured - told.measured) < 0.01

    def test_a_path_that_is_snapped_up_and_drifts_down_strays(self):
        shot = jump(24.0, speed=2.6)
        flight = _flight(shot)
        s = np.clip((shot.times * 24 - flight.begins) / (flight.ends - flight.begins), 0, 1)
        snap = (0.15 * np.sin(2 * np.pi * s))[:, None] * [0.0, 0.0, 1.0]
        snapped = replace(shot, characters=(edit.shift(shot.characters[0], snap),))
        (note,) = self.notes(snapped)
        assert note.kind == "strays" and note.unit == "m" and note.severity.rank >= 1
        assert "changes course" in note.text
        assert not self.notes(mend(snapped, note.remedy, note.character))

    def test_the_remedy_says_frames_and_height(self):
        shot = jump(24.0, flight=1.5)
        (note,) = self.notes(shot)
        true = 4 / 9.81 * 24
        stretch = 1.5 * true
        assert abs(note.remedy.added - (true - stretch)) < 1
        whole = stretch / 24
        assert abs(note.remedy.rise - (1 - 1 / 1.5**2) * 9.81 * whole**2 / 8) < 0.02
        said = note.remedy.sentence()
        assert "Take 5 frames out of the 15" in said and "raise its middle by" in said

    def test_the_other_way_keeps_the_frames(self):
        """With no frame taken out the parabola drawn mends the flight as well, at the price of the push-off."""
        shot = jump(24.0, flight=1.25)
        (note,) = self.notes(shot)
        true, found = note.evidence[:2]
        whole = np.arange(true.frames[0], true.frames[1] + 1)
        lift = np.array(true.places) - np.array(found.places)
        offset = np.stack([np.interp(shot.frames, whole, lift[:, k], left=0.0, right=0.0) for k in range(3)], 1)
        assert not self.notes(replace(shot, characters=(edit.shift(shot.characters[0], offset),)))
        assert abs(lift[:, 2].max() - note.remedy.rise) < 0.015
