# SPDX-License-Identifier: GPL-3.0-or-later
"""The notes file against its published schema."""

import json
import math
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from plumbline.core import remedy as r
from plumbline.core.evidence import SHAPES, Arc, Arrow, Label, Patch, Point, Polyline, ScreenOutline
from plumbline.core.measures.contact_rows import ContactRow, contact_rows
from plumbline.core.measures.footfalls import KINDS
from plumbline.core.measures.underbody import RESTS
from plumbline.core.note import Failure, KeyReference, Note, Result, Severity, Skip
from plumbline.core.report.json_notes import dump, evidence_data, notes_data, remedy_data, schema
from plumbline.core.shot import Prop, Surface
from plumbline.core.study import Study
from plumbline.core.testing.pivot_walk import walk
from plumbline.core.testing.puppet import act

SPAN = (10, 12)
A, B, C = (0.0, 0.0, 0.0), (1.0, 0.0, 0.5), (0.0, 1.0, 0.25)
EVIDENCE = (
    Point("found", SPAN, (A, B, C), "ring"),
    Polyline("found", SPAN, (A, B, C), ticks=True),
    Arrow("held_against", SPAN, A, B),
    Arc("held_against", SPAN, A, B, C, 45.0, 0.2),
    Patch("found", SPAN, (A, B, C)),
    ScreenOutline("found", SPAN, ((3.0, 4.0), (5.0, 6.0))),
    Label("found", SPAN, A, "12 degrees past the range"),
)
REMEDIES = (
    r.Move("foot.L", (0.1, 0.0, 0.02), SPAN, toward="back"),
    r.Turn("shin.L", (1.0, 0.0, 0.0), -12.0, SPAN),
    r.Turn("shin.L", (B, C, B), (1.0, 2.0, 3.0), SPAN),
    r.Turn("foot.L", (B, C, B), (1.0, 2.0, 3.0), SPAN, toward="toes down", about=(A, B, C), pivot="heel"),
    r.Pin("foot.R", (A, B, C), SPAN),
    r.Pin("foot.R", (A, B, C), SPAN, body=(A, C, C)),
    r.Ease(("hand.R",), SPAN, ease_in=False, paths=("foot.L",)),
    r.Fly("pelvis", SPAN, -2, (A, B, C), 0.2),
    r.Give("pelvis", SPAN, 0.2, 4, (A, B, C)),
    r.Settle(("hand.R", "head"), SPAN, ((A, B, A), (A, C, A))),
    r.Drift(("head",), B, (0.0, 3.0, 0.0), SPAN),
    r.Shift(("head", "hand.R"), (1, 3), SPAN),
    r.Follow(("neck", "head"), SPAN, "chest"),
    r.Smooth("hand.R", SPAN, (A, B, A)),
    r.Land("hand.R", SPAN, (A, B, A)),
    r.Soften("foot.L", SPAN, (A, B, A), "toward the hip"),
    r.Balance("pelvis", SPAN, (A, B, A)),
    r.Balance("pelvis", SPAN, (A, B, A), "back", ("foot.R", "hand.L")),
)


def note(**more):
    fields = {
        "check": "joint-limit",
        "lane": "Limbs",
        "character": "Keeper",
        "part": "shin.L",
        "start": 10,
        "end": 12,
        "worst": 11,
        "severity": Severity.HIGH,
        "measured": 31.5,
        "limit": 30.0,
        "unit": "deg",
        "source": "a table",
        "text": "Left knee bends 31.5 degrees backward",
        "remedy": None,
        "evidence": EVIDENCE,
        "keys": (KeyReference("rig/shin.L", "rotation_euler[0]", (9.0, 12.5)),),
    }
    return Note(**{**fields, **more})


def shot(**more):
    return replace(act({}, np.zeros((24, 3))), file="tower.blend", **more)


def written(result, the_shot=None, complete=True, **more):
    """The data as a reader gets it: through text and back, checked against the schema."""
    data = json.loads(dump(notes_data(the_shot or shot(), result, complete, **more)))
    jsonschema.Draft202012Validator(schema()).validate(data)
    return data


def test_the_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(schema())


def test_top_level_holds_exactly_the_agreed_entries():
    data = written(Result((note(),), (Skip("slip", "Keeper", "no feet"),), (Failure("tangent", "", "ValueError: no"),)))
    assert set(data) == {"schema", "complete", "shot", "characters", "props", "ground", "contacts", "notes", "skipped",
                         "failed"}
    assert data["shot"] == {"file": "tower.blend", "first": 1, "last": 24, "fps": 24, "units": 1}
    assert set(data["characters"][0]) == {"name", "map", "leg_length"}
    assert data["characters"][0]["map"]["shin.L"] == "shin.L"
    assert 0.5 < data["characters"][0]["leg_length"] < 1.1
    assert data["skipped"] == [{"check": "slip", "character": "Keeper", "why": "no feet"}]
    assert data["failed"] == [{"check": "tangent", "character": "", "error": "ValueError: no"}]
    assert set(data["notes"][0]) == {
        "id",
        "check",
        "lane",
        "character",
        "part",
        "start",
        "end",
        "worst",
        "severity",
        "measured",
        "limit",
        "unit",
        "text",
        "remedy",
        "evidence",
        "source",
        "keys",
        "trial",
        "set_aside",
    }


@pytest.mark.parametrize("complete", [True, False])
def test_complete_is_what_was_said(complete):
    assert written(Result((), (), ()), complete=complete)["complete"] is complete


def test_every_shape_of_evidence_and_every_remedy_fits_the_schema():
    assert {type(e) for e in EVIDENCE} == set(SHAPES), "the list above lacks a shape"
    assert {type(x) for x in REMEDIES} == set(r.Remedy.__args__), "the list above lacks a remedy"
    data = written(Result(tuple(note(remedy=x, start=i, worst=11) for i, x in enumerate(REMEDIES)), (), ()))
    assert [n["remedy"]["text"] for n in data["notes"]] == [x.sentence() for x in REMEDIES]
    assert evidence_data(EVIDENCE[5]) == {
        "shape": "screen_outline",
        "role": "found",
        "frames": [10, 12],
        "places": [[3, 4], [5, 6]],
        "closed": False,
    }
    assert remedy_data(REMEDIES[0])["do"] == "move"


def test_ids_are_unique_though_two_faces_speak_from_one_frame():
    ids = [
        n["id"] for n in written(Result((note(kind="gap"), note(kind="flat"), note(part="foot.L")), (), ()))["notes"]
    ]
    assert len(set(ids)) == 3
    assert ids[0] == "joint-limit/Keeper/shin.L/10"


def test_numbers_that_are_not_finite_never_reach_the_file():
    bad = Point("found", SPAN, ((math.nan, 0.0, 0.0),))
    result = Result(
        (note(measured=math.nan), note(evidence=(bad, EVIDENCE[0]), remedy=r.Move("foot.L", (math.inf, 0, 0), SPAN))),
        (),
        (),
    )
    data = written(result)
    assert len(data["notes"]) == 1
    assert [e["shape"] for e in data["notes"][0]["evidence"]] == ["point"]
    assert data["notes"][0]["remedy"] is None
    assert data["failed"][0]["check"] == "joint-limit"
    assert "nan" in data["failed"][0]["error"]


def test_hostile_names_survive_as_text():
    name = 'Keeper "\\\x00\x1b[31m\u202e\n</script>\udc80'
    data = written(Result((note(character=name),), (Skip("slip", name, name),), ()))
    assert data["notes"][0]["character"] == name[:-1] + "\ufffd"
    dump(data).encode("utf-8")


def test_numpy_numbers_are_written_as_numbers():
    shape = Arrow("found", (np.int64(10), np.int64(12)), tuple(np.array(A)), tuple(np.float32(v) for v in B))
    data = written(Result((note(evidence=(shape,), worst=np.int64(11)),), (), ()))
    assert data["notes"][0]["evidence"][0]["end"] == [1, 0, 0.5]


def test_set_aside_and_trial_are_told():
    data = written(Result((note(set_aside="the lead asked for it", trial=True),), (), ()))
    assert data["notes"][0]["set_aside"] == {"reason": "the lead asked for it"}
    assert data["notes"][0]["trial"] is True


def test_ground_tells_still_moving_plane_and_belt():
    corners = np.zeros((1, 3, 3))
    still = np.eye(4)[None]
    cart = np.repeat(still, 24, axis=0)
    cart[:, 0, 3] = np.arange(24) * 0.05  # 0.05 m a frame at 24 fps = 1.2 m/s along x
    ground = (
        Surface("Steps", "marked", corners, still),
        Surface("Cart", "marked", corners, cart),
        Surface(None, "at the feet", corners, still),
        Surface("Parked", "marked", corners, np.repeat(still, 24, axis=0)),
    )
    prop = Prop("Lantern", "it moves", np.zeros((24, 3)), np.repeat(np.eye(3)[None], 24, axis=0))
    data = written(
        Result((), (), ()), shot(surfaces=ground, props=(prop,)), belts=[((0.0, -1.25, 0.0), "the feet run on a belt")]
    )
    assert [g["name"] for g in data["ground"]] == ["Steps", "Cart", None, "Parked", None]
    assert [g["moving"] for g in data["ground"]] == [False, True, False, False, True]
    assert data["ground"][1]["velocity"] == pytest.approx([1.2, 0, 0])
    assert data["ground"][4]["velocity"] == [0, -1.25, 0]
    assert data["props"] == [{"name": "Lantern", "why": "it moves"}]


def test_contacts_are_told_in_scene_frames_with_their_fractions():
    walked = walk(24.0).shot
    character = walked.characters[0]
    rows = Study(walked).of(contact_rows, character)
    told = written(Result((), (), ()), walked, contacts=rows)["contacts"]
    assert len(told) == len(rows) >= 6
    assert {row["part"] for row in told} == {"foot.L", "foot.R"}
    assert {row["kind"] for row in told if row["on"] and row["off"]} == {"full"}
    assert {row["character"] for row in told} == {character.name}
    assert told[0]["on"] is None and told[-1]["off"] is None
    assert any(row["on"] is not None and row["on"] % 1 for row in told)


def test_every_kind_of_contact_fits_the_schema_and_no_other():
    sides = [f"{name}.{side}" for name in ("foot", *(n for n, _ in RESTS.values() if n not in ("seat", "back", "head")))
             for side in "LR"]
    parts = [*sides, "seat", "back", "head"]
    rows = [ContactRow("Keeper", part, None, 12.25, kind) for part in parts for kind in KINDS[1:]]
    assert len(written(Result((), (), ()), contacts=rows)["contacts"]) == len(rows)
    for wrong in (ContactRow("Keeper", "tail", 1.0, 2.0, "full"), ContactRow("Keeper", "foot.L", 1.0, 2.0, "none")):
        with pytest.raises(jsonschema.ValidationError):
            written(Result((), (), ()), contacts=[wrong])


def test_what_the_sweep_could_not_show_is_said():
    base = shot(remarks=("the crate is moved by a simulation",))
    warned = replace(
        base, characters=(replace(base.characters[0], warnings=("the armature is shown in rest position",)),)
    )
    assert written(Result((), (), ()), warned)["skipped"] == [
        {"check": "", "character": "", "why": "the crate is moved by a simulation"},
        {"check": "", "character": "Keeper", "why": "the armature is shown in rest position"},
    ]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("complete",), "yes"),
        (("schema",), 2),
        (("extra",), 1),
        (("shot", "fps"), 0),
        (("notes", 0, "severity"), "awful"),
        (("notes", 0, "unit"), "inch"),
        (("notes", 0, "start"), 1.5),
        (("notes", 0, "evidence", 0, "role"), "hero"),
        (("notes", 0, "evidence", 0, "shape"), "blob"),
        (("characters", 0, "map", "third_leg"), "x"),
        (("notes", 0, "measured"), None),
    ],
)
def test_the_schema_refuses_what_is_wrong(path, value):
    data = written(Result((note(),), (), ()))
    spot = data
    for step in path[:-1]:
        spot = spot[step]
    spot[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema()).validate(data)
