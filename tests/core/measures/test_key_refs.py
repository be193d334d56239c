# SPDX-License-Identifier: GPL-3.0-or-later
"""Which keys are named behind a span."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.keys import Channel, Control, Keys
from plumbline.core.measures.key_refs import keys_in
from plumbline.core.shot import Character
from plumbline.core.testing.puppet import act

CHANNELS = {
    ("wrist", "rotation_euler"): ((1, 0.0), (20, 1.0), (40, 0.0)),
    ("wrist", "location"): ((1, 0.0), (40, 0.0)),
    ("wrist", "constraints[\"Copy\"].influence"): ((20, 1.0),),
    ("goal", "location"): ((1, 0.0), (18, 2.0), (40, 0.0)),
    ("hand.L", "location"): ((20, 0.0),),
}


def keys() -> Keys:
    rows = [(i, f, v) for i, points in enumerate(CHANNELS.values()) for f, v in points]
    channel, frame, value = (np.array(column, float) for column in zip(*rows, strict=True))
    handles = np.stack([frame, value], 1)
    return Keys(
        tuple(Channel("Rig", "Act", path, 0, bone) for bone, path in CHANNELS),
        channel.astype(int), frame, frame, value, handles, handles, np.ones(len(frame), int),
    )  # fmt: skip


@pytest.fixture
def character() -> Character:
    plain = act({}, np.zeros((60, 3))).characters[0]
    return replace(plain, keys=keys(), controls={"hand.L": (Control("Rig/wrist"),)})


Named = set[tuple[str, str, tuple[float, ...]]]


def named(character: Character, first: float, last: float, part: str = "hand.L") -> Named:
    return {(k.owner, k.channel, k.frames) for k in keys_in(character, (part,), first, last)}


def test_keys_inside_the_span(character: Character) -> None:
    assert named(character, 15, 25) == {("Rig/wrist", "rotation_euler[0]", (20.0,))}


def test_between_keys_those_on_both_sides_of_what_moves(character: Character) -> None:
    assert named(character, 22, 30) == {("Rig/wrist", "rotation_euler[0]", (20.0, 40.0))}


def test_after_the_last_key_that_one(character: Character) -> None:
    assert named(character, 50, 60) == {
        ("Rig/wrist", "rotation_euler[0]", (40.0,)),
        ("Rig/wrist", "location[0]", (40.0,)),
    }


def test_a_control_counts_only_where_the_part_follows_it(character: Character) -> None:
    both = replace(character, controls={"hand.L": (Control("Rig/wrist", spans=((1, 17),)), Control("Rig/goal"))})
    assert named(both, 18, 25) == {("Rig/goal", "location[0]", (18.0,))}
    assert {owner for owner, *_ in named(both, 17, 25)} == {"Rig/wrist", "Rig/goal"}


def test_one_property_of_a_control(character: Character) -> None:
    one = replace(character, controls={"hand.L": (Control("Rig/wrist", 'constraints["Copy"].influence'),)})
    assert {frames for *_, frames in named(one, 10, 30)} == {(20.0,)}


def test_without_known_controls_the_part_s_own_bone(character: Character) -> None:
    alone = replace(character, controls={})
    assert named(alone, 10, 30) == {("Rig/hand.L", "location[0]", (20.0,))}


def test_no_keys_read_none_named(character: Character) -> None:
    assert named(replace(character, keys=None), 1, 40) == set()
    assert named(character, 1, 40, "head") == set()
