# SPDX-License-Identifier: GPL-3.0-or-later
"""Proportions: people's figures of any size are taken for people's, dolls and beasts are not."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.measures.build import unlike_people
from plumbline.core.shot import Character
from plumbline.core.testing import clips
from plumbline.core.testing.puppet import Puppet, act, adult


def figure(puppet: Puppet) -> Character:
    return act({}, np.zeros((4, 3)), 24, puppet).characters[0]


def with_legs(share: float, shin: float = 1.0) -> Puppet:
    """The adult with legs ``share`` and shins ``share * shin`` times as long, feet as they are."""
    puppet = adult()
    heads, tails = puppet.heads.copy(), puppet.tails.copy()
    for s in body.SIDES:
        hip, knee, ankle = (puppet.heads[puppet.parts.index(f"{p}.{s}")] for p in ("thigh", "shin", "foot"))
        new_knee = hip + share * (knee - hip)
        shift = new_knee + share * shin * (ankle - knee) - ankle
        heads[puppet.parts.index(f"shin.{s}")] = new_knee
        for part in (f"foot.{s}", f"toe.{s}"):
            heads[puppet.parts.index(part)] += shift
            tails[puppet.parts.index(part)] += shift
    return replace(puppet, heads=heads, tails=tails)


@pytest.mark.parametrize("scale", [0.01, 1.0, 100.0])
def test_an_adult_of_any_size_is_like_people(scale: float) -> None:
    assert unlike_people(figure(adult(scale))) == ""


@pytest.mark.parametrize("name", clips.names())
def test_captured_people_are_like_people(name: str) -> None:
    assert unlike_people(clips.load(name).characters[0]) == ""


@pytest.mark.parametrize(("share", "shin", "words"), [(0.4, 1.0, "the leg is 0.6"), (2.0, 1.0, "the leg is 3.3"),
                                                      (1.0, 0.5, "the shin is 0.5"), (1.0, 1.8, "the shin is 1.8")])
def test_dolls_and_stilts_are_not(share: float, shin: float, words: str) -> None:
    assert unlike_people(figure(with_legs(share, shin))).startswith(words)


def test_what_the_map_lacks_is_not_compared() -> None:
    doll = with_legs(0.4)
    keep = [i for i, p in enumerate(doll.parts) if body.base(p) not in ("upper_arm", "forearm", "hand")]
    bare = replace(doll, parts=tuple(doll.parts[i] for i in keep), heads=doll.heads[keep], tails=doll.tails[keep],
                   axes=doll.axes[keep])
    assert unlike_people(figure(bare)) == ""
