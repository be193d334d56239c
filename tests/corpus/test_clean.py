# SPDX-License-Identifier: GPL-3.0-or-later
"""Real motion raises no note of medium severity or above but the clips' own, listed faults."""

from functools import cache

import pytest
from plumbline.core.note import Note
from plumbline.core.shot import Shot
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plants import review

from .hosts import host


@cache
def reviewed(name: str, fps: float | None) -> tuple[Shot, tuple[Note, ...]]:
    """The clip at a rate, or keyed anew where that is None, and all that is said of it."""
    if fps in (None, 24.0):
        clean = host(name, "captured" if fps else "keyed")
        return clean.shot, clean.result.notes
    shot = clips.load(name, fps)
    return shot, review(shot).notes


def told(found: list[Note]) -> list[str]:
    return [f"{n.severity} {n.check} {n.part} {n.start}-{n.end}: {n.text}" for n in found]


def test_the_clips_are_there() -> None:
    assert len(clips.names()) == 22, "python3 build.py test fetches them into .cache/clips"


@pytest.mark.parametrize("name", clips.names())
def test_captured_clips_at_their_own_rate_and_at_24_and_30(name: str) -> None:
    for fps in corpus.rates_of(clips.clip(name).fps):
        shot, notes = reviewed(name, fps)
        assert not told(corpus.unaccepted(name, shot, notes)), f"at {fps:g}"


@pytest.mark.parametrize("name", [n for n in clips.names() if n not in corpus.faulty_proxies()])
def test_keyed_proxies(name: str) -> None:
    shot, notes = reviewed(name, None)
    loud = [n for n in notes if n.severity.rank >= 1]
    assert not told([n for n in loud if not any(a.covers(name, shot, n) for a in corpus.accepted())])


def test_every_accepted_note_is_still_raised() -> None:
    """An entry that no note needs any more would hide the next false one."""
    for entry in (e for e in corpus.accepted() if e.clip in clips.names()):
        found = []
        for fps in [None] if entry.keyed else corpus.rates_of(clips.clip(entry.clip).fps):
            shot, notes = reviewed(entry.clip, fps)
            found += [n for n in notes if n.severity.rank >= 1 and entry.covers(entry.clip, shot, n)]
        assert found, f"{entry.clip}: {entry.check}, {entry.reason}"
        assert len(entry.reason.split()) > 5


@pytest.mark.parametrize("name", corpus.faulty_proxies())
def test_every_faulty_proxy_is_faulty(name: str) -> None:
    _, notes = reviewed(name, None)
    assert [n for n in notes if n.severity.rank >= 1], f"{name} could be planted in"


def test_a_third_of_the_clips_is_held_back() -> None:
    held = [n for n in clips.names() if corpus.held_back(n)]
    assert 1 <= len(held) <= len(clips.names()) // 2
    assert held == [n for n in reversed(clips.names()) if corpus.held_back(n)][::-1]
