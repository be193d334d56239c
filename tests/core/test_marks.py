# SPDX-License-Identifier: GPL-3.0-or-later
"""A note's plate lies beside what was measured, inside what can be seen."""

import numpy as np
import pytest
from plumbline.core.evidence import Arrow, Label, Point, ScreenOutline
from plumbline.core.marks import Frame, Mark
from plumbline.core.note import Note, Severity
from plumbline.core.numeric.camera import View
from plumbline.core.placing import beside, pins

SIZE = (220.0, 42.0)
ROOM = (40.0, 60.0, 1000.0, 700.0)


def evidence(left: float, top: float, right: float, bottom: float) -> list[Mark]:
    corners = np.array([(left, top, 0), (right, top, 0), (right, bottom, 0), (left, bottom, 0)], float)
    return [Mark((corners,), 2.0, (1.0, 1.0, 1.0))]


def overlap(corner: np.ndarray, box: tuple[float, float, float, float]) -> float:
    low, high = np.maximum(corner, box[:2]), np.minimum(corner + SIZE, box[2:])
    return float(np.maximum(high - low, 0).prod())


@pytest.mark.parametrize(
    "box",
    [
        (400, 300, 500, 400),
        (850, 300, 990, 400),
        (45, 65, 90, 90),
        (50, 300, 990, 360),
        (50, 600, 990, 690),
        (60, 62, 980, 120),
        (960, 660, 999, 699),
        (700, 50, 1300, 900),
    ],
    ids=["middle", "right", "corner", "wide", "wide below", "wide above", "lower corner", "partly outside"],
)
@pytest.mark.parametrize("unit", [1.0, 2.0])
def test_a_plate_covers_no_evidence_and_stays_in_the_room(box: tuple[float, ...], unit: float) -> None:
    at = np.array([(box[0] + box[2]) / 2, (box[1] + box[3]) / 2])
    corner = beside(evidence(*box), at, SIZE, ROOM, unit)
    assert overlap(corner, box) == 0  # type: ignore[arg-type]
    assert (corner >= ROOM[:2]).all() and (corner + SIZE <= ROOM[2:]).all()


def test_where_all_is_evidence_the_plate_is_still_seen() -> None:
    corner = beside(evidence(-100, -100, 2000, 2000), np.array([500.0, 300.0]), SIZE, ROOM, 1.0)
    assert (corner >= ROOM[:2]).all() and (corner + SIZE <= ROOM[2:]).all()


def test_without_evidence_it_lies_in_the_upper_left_corner_of_the_room() -> None:
    assert beside([], None, SIZE, ROOM, 1.0) == pytest.approx((56, 76))


def test_a_room_too_small_keeps_the_plates_beginning() -> None:
    assert beside(evidence(50, 70, 60, 80), np.array([55.0, 75.0]), SIZE, (40, 60, 140, 100), 1.0) == pytest.approx(
        (48, 68)
    )


def pinned(*evidence: object) -> Note:
    words = ("m", "a table", "slips", None)
    return Note("slip", "Contacts", "Keeper", "foot.L", 1, 9, 5, Severity.LOW, 0.05, 0.04, *words, evidence)


def test_pins_stand_at_what_was_found_in_the_frame_and_turn_with_the_view() -> None:
    view = View(np.eye(3), np.array([0.0, 0.0, 4.0]), 100.0, np.array([200.0, 150.0]), np.array([400.0, 300.0]), False)
    frame = Frame(view, 5, (400, 300))
    path = Point("found", (1, 3), ((0.0, 0, 0), (1.0, 0, 0), (2.0, 0, 0)))
    arrow = Arrow("found", (1, 9), (0.0, 0.0, 0.0), (0.4, 0.2, 0.0))
    against = Label("held_against", (1, 9), (9.0, 9.0, 0.0), "text")
    behind = Arrow("found", (1, 9), (0.0, 0.0, 9.0), (0.0, 0.0, 9.0))
    outline = ScreenOutline("found", (1, 9), ((100.0, 200.0), (110.0, 200.0)))
    notes = [pinned(against, arrow), pinned(path), pinned(behind, against), pinned(outline)]
    at = pins(notes, 5, camera=False).pixels(frame)
    assert at[0] == pytest.approx(frame.pixels([(0.4, 0.2, 0.0)])[0])
    assert np.isnan(at[1]).all() and np.isnan(at[3]).all(), "the path ended in frame 3; an outline has no other view"
    assert at[2] == pytest.approx(frame.pixels([(9.0, 9.0, 0.0)])[0]), "behind the camera the next shape stands for it"
    early = pins(notes, 2, camera=True).pixels(frame)
    assert early[1] == pytest.approx(frame.pixels([(1.0, 0.0, 0.0)])[0])
    assert early[3] == pytest.approx(frame.from_units(np.array([[100.0, 200.0]]))[0])
    assert pins((), 5).pixels(frame).shape == (0, 3)
