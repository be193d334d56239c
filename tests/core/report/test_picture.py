# SPDX-License-Identifier: GPL-3.0-or-later
"""Evidence projected and drawn: where the marks lie, what lies below what, and that the PNG is one."""

import struct
import zlib
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.check import LANES
from plumbline.core.evidence import SHAPES, Arc, Arrow, Label, Patch, Point, Polyline, ScreenOutline
from plumbline.core.measures.kisses import view_of
from plumbline.core.note import Note, Severity
from plumbline.core.palette import KEY, LANE_COLORS, PAPER
from plumbline.core.report.framing import framed
from plumbline.core.report.picture import draw, frame_of, marks
from plumbline.core.report.raster import fill, png, stroke
from plumbline.core.report.stroke_font import strokes
from plumbline.core.shot import Camera
from plumbline.core.testing.puppet import act

SPAN = (8, 14)
LANE = LANE_COLORS["Limbs"]


def note(*evidence, **more):
    return replace(
        Note(
            "joint-limit",
            "Limbs",
            "Keeper",
            "shin.L",
            8,
            14,
            10,
            Severity.HIGH,
            31.5,
            25.0,
            "deg",
            "a table",
            "Left knee bends 31.5 degrees backward",
            None,
            tuple(evidence),
        ),
        **more,
    )


def facing(resolution=(1280, 720)):
    """A camera at y = -5, 1 m high, looking along +Y with 50 mm over 36: 2.5 m wide at the plane y = -1.528."""
    matrix = np.array([[1, 0, 0, 0], [0, 0, -1, -5], [0, 1, 0, 1], [0, 0, 0, 1]], float)
    camera = Camera(
        ("cam",),
        np.zeros(1, int),
        ("PERSP",),
        ("AUTO",),
        matrix[None],
        np.array([50.0]),
        np.array([1.0]),
        np.array([[36.0, 24.0]]),
        np.zeros((1, 2)),
        np.array(resolution, float),
        np.ones(2),
    )
    return frame_of(view_of(camera, 0), 10, resolution)


FRAME = facing()
SHAPE_EXAMPLES = (
    Point("found", SPAN, ((0.0, 0.0, 1.0),)),
    Polyline("found", SPAN, tuple((0.1 * i, 0.0, 1.0) for i in range(7)), ticks=True),
    Arrow("found", SPAN, (0.0, 0.0, 1.0), (0.3, 0.0, 1.0)),
    Arc("found", SPAN, (0.0, 0.0, 1.0), (0.0, -1.0, 0.0), (1.0, 0.0, 0.0), 40.0, 0.4),
    Patch("found", SPAN, ((0.0, 0.0, 1.0), (0.3, 0.0, 1.0), (0.3, 0.0, 1.2))),
    ScreenOutline("found", SPAN, ((900.0, 500.0), (1000.0, 540.0))),
    Label("found", SPAN, (0.0, 0.0, 1.0), "31.5 degrees"),
)


def test_places_land_where_the_lens_says():
    # 1 m right at 5 m: 50 / 36 / 5 of the picture's width
    at = FRAME.pixels([(0.0, 0.0, 1.0), (1.0, 0.0, 1.0), (0.0, 0.0, 2.0), (0.0, -6.0, 1.0)])[:, :2]
    k = 1280 * 50 / 36 / 5
    assert at[:3] == pytest.approx(np.array([[640, 360], [640 + k, 360], [640, 360 - k]]))
    assert np.isnan(at[3]).all()


def test_screen_units_are_scaled_from_1080_and_turned_over():
    at = FRAME.from_units(np.array([[0.0, 0.0], [960.0, 1080.0]]))
    assert at[:, :2] == pytest.approx(np.array([[0, 720], [640, 0]]))


@pytest.mark.parametrize("shape", SHAPE_EXAMPLES, ids=lambda s: type(s).__name__)
def test_every_shape_is_drawn_in_its_color_by_role(shape):
    assert {type(s) for s in SHAPE_EXAMPLES} == set(SHAPES)
    bare = len(marks(note(), FRAME))
    for role, color in (("found", LANE), ("held_against", PAPER)):
        drawn = marks(note(replace(shape, role=role)), FRAME)
        assert len(drawn) > bare
        wanted = PAPER if isinstance(shape, Label) else color  # words are always paper white
        assert any(m.color == wanted for m in drawn[: len(drawn) - bare])


def test_the_finding_lies_above_its_yardstick_and_the_key_below_each():
    found = Point("found", SPAN, ((0.0, 0.0, 1.0),))
    against = Point("held_against", SPAN, ((0.0, 0.0, 1.0),))
    pixels = np.full((720, 1280, 3), 0.5)
    draw(pixels, marks(note(found, against), FRAME))
    assert pixels[361, 637] == pytest.approx(LANE, abs=0.01)  # left of where the line to the plate ends
    assert np.linalg.norm(pixels[360 - 5, 640] - KEY) < 0.25, "a dark line about the disc"


def test_shapes_show_only_in_their_frames_and_follow_them():
    moving = Point("found", (8, 11), tuple((0.2 * i, 0.0, 1.0) for i in range(4)))
    assert len(marks(note(moving), replace(FRAME, number=12))) == len(marks(note(), replace(FRAME, number=12)))
    at = [
        next(m for m in marks(note(moving), replace(FRAME, number=n)) if m.color == LANE).lines[0].mean(0)
        for n in (8, 11)
    ]
    assert at[1][0] - at[0][0] == pytest.approx(0.6 * 1280 * 50 / 36 / 5, abs=0.5)


def test_outlines_of_the_shots_camera_stay_out_of_other_views():
    outline = SHAPE_EXAMPLES[5]
    assert len(marks(note(outline), FRAME, camera=False)) == len(marks(note(), FRAME, camera=False))


def test_what_lies_behind_the_camera_is_left_out():
    line = Polyline(
        "found", SPAN, ((0.0, 0.0, 1.0), (0.2, 0.0, 1.0), (0.2, -7.0, 1.0), (0.3, 0.0, 1.0), (0.5, 0.0, 1.0))
    )
    drawn = list(marks(note(line, Patch("found", SPAN, line.places), Point("found", SPAN, ((0.0, -9.0, 0.0),))), FRAME))
    assert all(np.isfinite(part).all() for m in drawn for part in m.lines)
    assert [len(m.lines) for m in drawn if m.color == LANE and m.width > 2] == [2]


@pytest.mark.parametrize("size", [(1280, 720), (640, 360), (720, 1280), (200, 100)])
@pytest.mark.parametrize("x", [-3.0, 0.0, 3.0])
def test_the_plate_stays_in_the_picture_where_it_fits(size, x):
    frame = facing(size)
    drawn = marks(note(Point("found", SPAN, ((x, 0.0, 1.0),))), frame)
    plate = next(m for m in drawn if m.color == KEY and m.alpha == 0.80)
    low, high = plate.lines[0][:, :2].min(0), plate.lines[0][:, :2].max(0)
    assert (low >= 0).all()
    if size[0] >= 600:
        assert (high <= np.array(size) + 1e-6).all()


def test_a_stroke_covers_its_width_and_crossing_lines_are_laid_once():
    pixels = np.zeros((40, 40, 3))
    stroke(
        pixels,
        [np.array([(5.0, 20.0), (35.0, 20.0)]), np.array([(20.0, 5.0), (20.0, 35.0)])],
        4.0,
        (1.0, 1.0, 1.0),
        0.5,
    )
    assert pixels[20, 20, 0] == pytest.approx(0.5)
    assert pixels[:, 10, 0].sum() == pytest.approx(4 * 0.5, abs=0.05)
    assert pixels[0].max() == 0


def test_a_fill_covers_its_area_by_the_even_odd_rule():
    pixels = np.zeros((100, 100, 3))
    star = np.array([(50 + 40 * np.sin(a), 50 - 40 * np.cos(a)) for a in np.arange(5) * 4 * np.pi / 5])
    fill(pixels, star, (1.0, 1.0, 1.0), 1.0)
    assert pixels[50, 50, 0] == 0, "the middle of a pentagram is a hole"
    square = np.zeros((100, 100, 3))
    fill(square, np.array([(10.25, 10), (60.25, 10), (60.25, 50), (10.25, 50)]), (1.0, 1.0, 1.0), 1.0)
    assert square[..., 0].sum() == pytest.approx(50 * 40, rel=0.002)


def test_lines_far_outside_cost_nothing_and_change_nothing():
    pixels = np.full((30, 30, 3), 0.25)
    stroke(pixels, [np.array([(1e7, 1e7), (2e7, 1e7)])], 3.0, (1.0, 0.0, 0.0), 1.0)
    fill(pixels, np.array([(-90.0, -90.0), (-50.0, -90.0), (-50.0, -50.0)]), (1.0, 0.0, 0.0), 1.0)
    assert (pixels == 0.25).all()


def test_the_png_says_its_pixels():
    pixels = np.random.default_rng(5).random((7, 5, 3))
    data = png(pixels)
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    chunks, at = {}, 8
    while at < len(data):
        (length,), name = struct.unpack(">I", data[at : at + 4]), data[at + 4 : at + 8]
        body = data[at + 8 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(name + body)
        chunks[name], at = body, at + 12 + length
    assert list(chunks) == [b"IHDR", b"IDAT", b"IEND"]
    assert struct.unpack(">IIBBBBB", chunks[b"IHDR"]) == (5, 7, 8, 2, 0, 0, 0)
    rows = np.frombuffer(zlib.decompress(chunks[b"IDAT"]), np.uint8).reshape(7, 16)
    assert (rows[:, 0] == 0).all()
    assert np.abs(rows[:, 1:].reshape(7, 5, 3) / 255 - pixels).max() <= 0.5 / 255 + 1e-9


def test_the_font_has_every_printable_sign_of_a_note():
    box = strokes("\u30dc", 6.0)[0]
    for code in range(33, 127):
        lines, width = strokes(chr(code), 6.0)
        if chr(code) not in "$@^`{}":
            assert lines and (len(lines) != 1 or lines[0].shape != box[0].shape or not np.allclose(lines[0], box[0])), (
                chr(code)
            )
        assert width >= 0
    assert strokes("ll", 12.0)[1] > strokes("l", 12.0)[1]
    assert strokes("", 12.0) == ([], 0.0)


@pytest.mark.parametrize("turn", [0, 90, 200])
@pytest.mark.parametrize("resolution", [(1280, 720), (720, 1280)])
def test_a_framed_view_holds_the_figure(turn, resolution):
    shot = act({}, np.zeros((12, 3)))
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    rotation = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    who = shot.characters[0]
    who = replace(who, heads=who.heads @ rotation.T + (3, 4, 5), tails=who.tails @ rotation.T + (3, 4, 5))
    shot = replace(shot, characters=(who,))
    camera = framed(shot, note(Point("found", SPAN, ((3.0, 4.0, 5.5),))), resolution)
    frame = frame_of(view_of(camera, 0), 10, resolution)
    at = frame.pixels(np.concatenate([who.heads[9], who.tails[9]]))[:, :2]
    assert (at >= 0).all() and (at <= np.array(resolution)).all()
    assert np.ptp(at[:, 1]) > 0.2 * resolution[1], "and not tiny"
    right, left = frame.pixels([who.head("thigh.R")[9], who.head("thigh.L")[9]])
    assert right[0] < left[0], "seen from the front: its right is on the left"


def test_every_lane_has_its_color():
    assert set(LANE_COLORS) == set(LANES)
