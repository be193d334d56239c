# SPDX-License-Identifier: GPL-3.0-or-later
"""The card's published schema and the reader that Blender runs agree on what is a card."""

import json
from pathlib import Path

import hypothesis.strategies as st
import jsonschema
import pytest
from hypothesis import given, settings
from plumbline.core import card as card_module
from plumbline.core.body import LIMBS, PARTS
from plumbline.core.card import Card, CardError

SCHEMA = json.loads(Path(card_module.__file__).with_name("card.schema.json").read_text("utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
SOLE = [[0.0, 0.1 * i, 0.0] for i in range(7)]

GOOD = [
    {},
    {"schema": 1},
    {"name": "Keeper"},
    {"map": {"shin.L": "rig/shin.L", "toe.R": ""}},
    {"limits": {"knee": [None, 140.5]}},
    {"limits": {"knee": [-5, None], "elbow": [0, 0]}},
    {"masses": {"head": 4.5}},
    {"soles": {"L": SOLE}},
    {"stretch": {"leg.L": 0.05}},
    {"height": 1.8},
    {"height": None},
    {"preset": "bouncy"},
    {"preset": ""},
    {"schema": 1, "name": "", "map": {}, "limits": {}, "masses": {}, "soles": {}, "stretch": {}},
]
BAD = [
    {"schema": 2},
    {"schema": "1"},
    {"schema": None},
    {"schema": True},
    {"name": 5},
    {"name": None},
    {"color": "red"},
    {"preset": "Bouncy"},
    {"preset": None},
    {"preset": 1},
    {"map": []},
    {"map": None},
    {"map": {"third_leg": "x"}},
    {"map": {"shin.L": 5}},
    {"map": {"shin.L": None}},
    {"limits": {"knee": [1]}},
    {"limits": {"knee": [1, 2, 3]}},
    {"limits": {"knee": "1 2"}},
    {"limits": {"knee": ["1", 2]}},
    {"limits": {"knee": [True, 2]}},
    {"limits": [1, 2]},
    {"masses": {"head": 0}},
    {"masses": {"head": -1}},
    {"masses": {"hat": 1}},
    {"masses": {"head": True}},
    {"masses": {"head": "4"}},
    {"soles": {"M": SOLE}},
    {"soles": {"L": SOLE[:6]}},
    {"soles": {"L": [[0, 0]] * 7}},
    {"soles": {"L": [["0", 0, 0]] * 7}},
    {"soles": {"L": None}},
    {"stretch": {"leg": 0.1}},
    {"stretch": {"leg.L": 0}},
    {"height": 0},
    {"height": -1.8},
    {"height": "tall"},
    {"height": True},
    {"height": [1.8]},
]


def reads(data):
    try:
        Card.from_data(data)
    except CardError as error:
        assert str(error).startswith("the card"), "a sentence that says it is about the card"
        return False
    return True


def test_the_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("data", GOOD, ids=json.dumps)
def test_good_cards_pass_both(data):
    assert VALIDATOR.is_valid(data)
    assert reads(data)
    again = Card.from_data(data)
    assert VALIDATOR.is_valid(json.loads(again.write()))
    assert Card.read(again.write()) == again


@pytest.mark.parametrize("data", BAD, ids=json.dumps)
def test_bad_cards_fail_both(data):
    assert not VALIDATOR.is_valid(data)
    assert not reads(data)


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 200),
    st.floats(-3, 200),
    st.text(max_size=3),
    st.just(SOLE),
    st.lists(st.one_of(st.none(), st.integers(-90, 180)), max_size=3),
    st.dictionaries(
        st.sampled_from([*PARTS[:6], *LIMBS, "L", "R", "knee", "hat"]),
        st.one_of(st.none(), st.floats(-1, 90), st.text(max_size=2), st.just(SOLE), st.just([1, 2]), st.booleans()),
        max_size=3,
    ),
)


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.dictionaries(st.sampled_from([*SCHEMA["properties"], "other"]), VALUES, max_size=3))
def test_they_agree_on_any_card(data):
    backward = (
        any(isinstance(v, list) and len(v) == 2 and None not in v and v[0] > v[1] for v in data["limits"].values())
        if isinstance(data.get("limits"), dict)
        else False
    )
    if not backward:  # the one rule that the schema says in words
        assert VALIDATOR.is_valid(data) == reads(data)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "5",
        '"card"',
        '{"height": NaN}',
        '{"height": Infinity}',
        '{"height": 1' + "0" * 400 + "}",
        "[" * 100_000,
    ],
)
def test_text_that_is_no_card(text):
    with pytest.raises(CardError, match="card"):
        Card.read(text)


def test_a_range_that_runs_backward_is_refused():
    with pytest.raises(CardError, match="least above its most"):
        Card.from_data({"limits": {"knee": [10, -10]}})
