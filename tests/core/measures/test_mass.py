# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a body's mass lies: the worked limb and standing body, rigs that lack parts, cards, volumes."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.card import Card
from plumbline.core.measures.mass import Masses, masses, masses_of, told
from plumbline.core.measures.mass_skin import weighed
from plumbline.core.measures.mass_table import FLESH, pieces_of
from plumbline.core.shot import SOLE_POINTS, Character, SkinMass
from plumbline.core.study import Study
from plumbline.core.tables.segments import TABLES
from plumbline.core.testing import edit, puppet

Array = np.ndarray
UP = np.array([0.0, 0.0, 1.0])


def figure(heads: dict[str, tuple[float, ...]], tails: dict[str, tuple[float, ...]], forward: tuple[float, ...],
           card: Card | None = None) -> Character:
    """A still figure of one frame from joints (m) and the ends of bones that no joint follows."""
    parts = tuple(p for p in body.PARTS if p in heads)
    a = np.array([heads[p] for p in parts], float)
    b = np.array([tails.get(p, heads.get(body.next_part(p) or "", heads[p])) for p in parts], float)
    axes = puppet.bone_axes(a, b + (a == b).all(1)[:, None] * UP * 0.1)
    return Character("Keeper", parts, parts, a[None], b[None], axes[None], a, b, axes, np.ones(1), UP,
                     np.array(forward), height=1.75, card=card or Card())


def center(character: Character, found: Masses, frame: int = 0) -> Array:
    centers = found.centers(character)[..., frame]
    return centers @ found.mass / found.total


# ---- worked examples ---------------------------------------------------------------------------------------


def sole(heel: tuple[float, ...], toe: tuple[float, ...], ball: tuple[float, ...]) -> tuple[tuple[float, ...], ...]:
    return tuple({"heel": heel, "ball": ball, "toe_tip": toe}.get(p, ball) for p in SOLE_POINTS)


def test_the_worked_limb_of_dempsters_table():
    """BMClab/BMC, BodySegmentParameters.ipynb: ball, ankle, knee and hip of a leg in its plane, in meters."""
    ball, ankle, knee, hip = ((x, 0.0, z) for x, z in ((1.011, 0.013), (0.849, 0.110), (0.864, 0.549), (0.721, 0.928)))
    c = figure({"pelvis": hip, "chest": (0.7, 0, 1.2), "thigh.L": hip, "shin.L": knee, "foot.L": ankle},
               {"foot.L": ball}, (1, 0, 0), Card(soles={"L": sole((0.8, 0, 0), (1.06, 0, 0), ball)}))
    found = {p.part: p for p in pieces_of(c, TABLES["dempster"])}
    leg = [found[p] for p in ("foot.L", "shin.L", "thigh.L")]
    for piece, place in zip(leg, ((0.930, 0.062), (0.858, 0.359), (0.783, 0.764)), strict=True):
        np.testing.assert_allclose(piece.place[[0, 2]], place, atol=6e-4)
    share = np.array([p.share for p in leg])
    np.testing.assert_allclose(share @ np.array([p.place for p in leg])[:, [0, 2]] / share.sum(), (0.818, 0.584),
                               atol=6e-4)
    # about the hip, for a body of 100 kg, with the notebook's own inertias about the segments' centers
    about_hip = sum(own + 100 * p.share * float(((p.place - hip) ** 2).sum())
                    for own, p in zip((0.012, 0.082, 0.171), leg, strict=True))
    assert about_hip == pytest.approx(3.317, abs=0.01)


def standing(arms: str) -> Character:
    """The worked standing body: x right, y forward."""
    heads = {"pelvis": (0, 0, 0.93), "chest": (0, 0, 1.2), "neck": (0, 0, 1.50), "head": (0, 0, 1.55)}
    tails = {"head": (0, 0, 1.75)}
    out = {"down": (0, 0, -1), "T": (1, 0, 0), "forward": (0, 1, 0)}[arms]
    for s, x in (("R", 1), ("L", -1)):
        reach = np.array(out, float) * (x, 1, 1)
        shoulder = np.array([0.18 * x, 0, 1.44])
        for part, along in (("upper_arm", 0.0), ("forearm", 0.28), ("hand", 0.55)):
            heads[f"{part}.{s}"] = tuple(shoulder + along * reach)
        tails[f"hand.{s}"] = tuple(shoulder + 0.74 * reach)
        for part, z in (("thigh", 0.93), ("shin", 0.51), ("foot", 0.08)):
            heads[f"{part}.{s}"] = (0.085 * x, 0, z)
    # its foot runs from (-.06, .03) to (.20, .02); ours lies over a sole by a share of the ankle's height over that
    low = (0.03 - FLESH * 0.08) / (1 - FLESH)
    soles = {s: sole((0.085 * x, -0.06, low), (0.085 * x, 0.20, low - 0.01), (0.085 * x, 0.12, 0.0))
             for s, x in (("R", 1), ("L", -1))}
    return figure(heads, tails, (0, 1, 0), Card(soles=soles))


@pytest.mark.parametrize(("table", "arms", "y", "z"), (
    ("male", "down", 0.00150, 0.99912), ("male", "T", None, 1.02851), ("male", "forward", 0.03088, None),
    ("female", "down", 0.00114, 1.00469)))
def test_the_worked_standing_body(table, arms, y, z):
    c = standing(arms)
    found = center(c, masses_of(c, TABLES[table]))
    assert found[0] == pytest.approx(0.0, abs=1e-9)
    assert y is None or found[1] == pytest.approx(y, abs=1e-5)
    assert z is None or found[2] == pytest.approx(z, abs=5e-5)


def test_the_choice_of_table_is_worth_two_centimeters_and_no_more():
    """The floor that no limit may be finer than."""
    c = standing("down")
    places = np.array([center(c, masses_of(c, table)) for table in TABLES.values()])
    assert 0.005 < np.ptp(places[:, 2]) < 0.02 and np.ptp(places[:, :2], axis=0).max() < 0.005


# ---- rigs that lack parts ----------------------------------------------------------------------------------


def adult(*without: str) -> Character:
    """The adult in its rest pose without some parts, on both sides where none is named. A limb of one
    bone is one that reaches to its end."""
    whole = puppet.adult()
    gone = {p for p in whole.parts if p in without or body.base(p) in without}
    keep = [i for i, p in enumerate(whole.parts) if p not in gone]
    tails = whole.tails.copy()
    for root in ("upper_arm", "thigh"):
        for s in body.SIDES:
            chain = [p for p in (f"{root}.{s}", *body.descendants(f"{root}.{s}")) if body.base(p) != "toe"]
            left = [p for p in chain if p not in gone]
            if left == chain[:1]:
                tails[whole.parts.index(left[-1])] = whole.tails[whole.parts.index(chain[-1])]
    some = puppet.Puppet(tuple(whole.parts[i] for i in keep), whole.heads[keep], tails[keep], whole.axes[keep],
                         whole.up, whole.forward)
    still = puppet.character_of(some, *puppet.pose(some, {}, np.zeros((3, 3))))
    return replace(still, height=1.75)


def test_a_standing_adult_is_symmetrical_and_whole():
    c = adult()
    found = masses_of(c)
    assert not found.why and found.total == pytest.approx(21.7 * 1.75**2)
    place = center(c, found)
    assert abs(place[0]) < 1e-9 and abs(place[1]) < 0.02 and 0.54 < place[2] / 1.75 < 0.58
    assert len(found.parts) == 16 and found.blend.sum(1) == pytest.approx(1.0)
    # a long bone is hard to turn about all but its own line, which is the bone's y
    thigh = found.moments[found.parts.index("thigh.L")]
    assert thigh[1, 1] > 3 * thigh[0, 0] and thigh[1, 1] > 3 * thigh[2, 2]


@pytest.mark.parametrize(("without", "within"), (
    (("toe",), 0.002), (("clavicle",), 1e-9), (("neck",), 0.004), (("spine",), 1e-9), (("spine", "chest"), 1e-9),
    (("pelvis", "spine"), 1e-9), (("hand",), 0.002), (("foot", "toe"), 0.002), (("forearm",), 0.004),
    (("shin",), 0.006), (("forearm", "hand"), 0.02), (("shin", "foot", "toe"), 0.05), (("head",), 0.005),
    (("head", "neck"), 0.006)))
def test_what_a_rig_lacks_is_carried_by_what_it_has(without, within):
    """The whole mass is still there, at about the same place: a missing bone is no missing flesh."""
    whole, less = adult(), adult(*without)
    found = masses_of(less)
    assert found.total == pytest.approx(masses_of(whole).total)
    share = sum(p.share for p in pieces_of(less, TABLES["mean"]))
    assert share == pytest.approx(sum(p.share for p in pieces_of(whole, TABLES["mean"])))
    assert not set(found.parts) & {p for p in body.PARTS if not less.has(p)}
    np.testing.assert_allclose(center(less, found), center(whole, masses_of(whole)), atol=within)


def test_limbs_that_are_not_there_weigh_nothing():
    ghost = adult("thigh", "shin", "foot", "toe")
    assert not any("thigh" in p or "foot" in p for p in masses_of(ghost).parts)
    assert center(ghost, masses_of(ghost))[2] > 1.2
    floating = adult("upper_arm", "forearm", "thigh", "shin")
    found = masses_of(floating)
    shares = dict(zip(found.parts, found.mass / found.total, strict=True))
    assert 0.005 < shares["hand.L"] < 0.02 and 0.01 < shares["foot.R"] < 0.04


def test_nothing_to_hang_a_body_on_is_told():
    hand = adult(*(p for p in body.PARTS if p not in ("upper_arm.L", "forearm.L", "hand.L")))
    found = masses_of(hand)
    assert found.why and "trunk" in told(found) and not found.parts


def test_a_bent_trunk_takes_its_mass_along():
    """Bent forward by 60 degrees at waist and ribs, the chest's mass goes with the chest."""
    c = adult()
    turn = edit.turn(c, "chest", np.broadcast_to(rotation_about_x(np.pi / 3), (3, 3, 3)))
    found = masses_of(c)
    still, bent = (dict(zip(found.parts, found.centers(x)[..., 0].T, strict=True)) for x in (c, turn))
    joint = c.head("chest")[0]
    expected = joint + rotation_about_x(np.pi / 3) @ (still["chest"] - joint)
    np.testing.assert_allclose(bent["chest"], expected, atol=1e-9)
    np.testing.assert_allclose(bent["pelvis"], still["pelvis"], atol=1e-12)
    assert bent["chest"][1] < still["chest"][1] - 0.05


def rotation_about_x(angle: float) -> Array:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def test_a_stretched_limb_takes_its_mass_along():
    c = adult()
    heads = c.heads.copy()
    heads[:, c.index["hand.L"]] += heads[:, c.index["hand.L"]] - heads[:, c.index["forearm.L"]]  # twice as long
    found = masses_of(c)
    row = found.parts.index("forearm.L")
    segment = TABLES["mean"].segments["forearm"]
    far = found.centers(replace(c, heads=heads))[:, row, 0] - c.head("forearm.L")[0]
    near = found.centers(c)[:, row, 0] - c.head("forearm.L")[0]
    np.testing.assert_allclose(far, 2 * near, atol=1e-9)
    assert np.linalg.norm(near) == pytest.approx(segment.center * c.rest_length("forearm.L"))


def test_masses_follow_turns_moves_mirrors_and_sizes():
    t = np.linspace(0, 1, 20)
    from plumbline.core.numeric import rotation as rot

    turns = {p: rot.exp(np.outer(np.sin(3 * t + k), [0.3, 0.2, -0.4])) for k, p in enumerate(body.PARTS)}
    shot = puppet.act(turns, np.stack([t, 0 * t, 0 * t], 1))

    def centers(s) -> Array:
        c = s.characters[0]
        found = Study(s).of(masses, c)
        return (found.centers(c) * found.mass[:, None]).sum(1).T / found.total

    base = centers(shot)
    turn, offset = rot.exp(np.array([0.3, -0.2, 2.0])), np.array([3.0, -2, 0.5])
    np.testing.assert_allclose(centers(edit.rigid(shot, turn, offset)), base @ turn.T + offset, atol=1e-4)
    np.testing.assert_allclose(centers(edit.scaled(shot, 7.0)), base * 7.0, atol=1e-9)
    np.testing.assert_allclose(centers(edit.mirrored(shot)), base * [-1, 1, 1], atol=1e-9)
    rolled = puppet.act(turns, np.stack([t, 0 * t, 0 * t], 1), puppet=puppet.adult(roll=1.1))
    np.testing.assert_allclose(centers(rolled), base, atol=1e-9)


# ---- cards and volumes -------------------------------------------------------------------------------------


def test_the_cards_masses_come_first():
    c = adult()
    plain = masses_of(c)
    heavy = replace(c, card=Card(masses={"head": 20.0}))
    found = masses_of(heavy)
    by_part = dict(zip(found.parts, found.mass, strict=True))
    before = dict(zip(plain.parts, plain.mass, strict=True))
    assert by_part["head"] == 20.0 and by_part["thigh.L"] == pytest.approx(before["thigh.L"])
    assert center(heavy, found)[2] > center(c, plain)[2] + 0.10
    assert told(plain) == "", "what is usual is not said in every note"
    assert found.typed == ("head",) and told(found).startswith("masses by the card; de Leva") and "head" in told(found)


def test_a_wholly_typed_body_weighs_what_was_typed():
    c = adult()
    typed = {p: float(k + 1) for k, p in enumerate(c.parts)}
    found = masses_of(replace(c, card=Card(masses=typed)))
    assert found.total == pytest.approx(sum(typed.values())) and found.source == "the card"
    assert told(found) == "masses by the card"
    by_part = dict(zip(found.parts, found.mass, strict=True))
    assert by_part == pytest.approx(typed)
    # what the tables give no mass of its own lies in the middle of its bone
    row = found.parts.index("clavicle.L")
    middle = (c.rest_head("clavicle.L") + c.rest_end("clavicle.L")) / 2
    np.testing.assert_allclose(found.centers(c)[:, row, 0], middle, atol=1e-9)


def ball(radius: float, middle: tuple[float, ...], n: int = 16) -> tuple[Array, Array]:
    """A closed sphere: places (V, 3), triangles (T, 3) wound outward."""
    polar, turn = np.meshgrid(np.linspace(0, np.pi, n), np.linspace(0, 2 * np.pi, 2 * n, endpoint=False), indexing="ij")
    places = np.stack([np.sin(polar) * np.cos(turn), np.sin(polar) * np.sin(turn), np.cos(polar)], -1)
    faces = [(i * 2 * n + j, (i + 1) * 2 * n + j, (i + 1) * 2 * n + (j + 1) % (2 * n)) for i in range(n - 1)
             for j in range(2 * n)]
    faces += [(i * 2 * n + j, (i + 1) * 2 * n + (j + 1) % (2 * n), i * 2 * n + (j + 1) % (2 * n)) for i in range(n - 1)
              for j in range(2 * n)]
    return places.reshape(-1, 3) * radius + middle, np.array(faces)


def skinned(c: Character, head: float) -> SkinMass:
    """Every part a ball about the middle of its bone, the head one of this radius."""
    places, faces, owners = [], [], []
    for k, part in enumerate(c.parts):
        radius = head if part == "head" else {"pelvis": 0.16, "chest": 0.18, "spine": 0.15, "thigh": 0.13}.get(
            body.base(part), 0.07)
        a, b = ball(radius, tuple((c.rest_head(part) + c.rest_end(part)) / 2))
        faces.append(b + sum(map(len, places)))
        places.append(a)
        owners.append(np.full(len(a), k))
    return weighed(np.concatenate(places), np.concatenate(faces), np.concatenate(owners), c.parts)


def test_a_big_headed_cartoon_has_a_big_headed_center_of_mass():
    c = adult()
    usual, large = skinned(c, 0.1), skinned(c, 0.35)
    assert masses_of(c, skin=usual).source.startswith("de Leva"), "built like people: the table knows better"
    by_table, found = masses_of(c), masses_of(c, skin=large)
    assert "volume" in found.source and found.guessed and "never more than low" in told(found), "a hat is no flesh"
    share = dict(zip(found.parts, found.mass / found.total, strict=True))["head"]
    assert share > 0.4
    assert center(c, found)[2] > center(c, by_table)[2] + 0.2
    assert "volume" in masses_of(c, skin=usual, by_volume=True).source
    assert "de Leva" in masses_of(c, skin=large, by_volume=False).source


def test_what_is_no_human_is_weighed_by_volume_or_by_its_card():
    c = replace(adult(), human=False)
    assert "volume" in masses_of(c, skin=skinned(c, 0.1)).source
    assert "no human" in masses_of(c).why and not masses_of(c).parts
    found = masses_of(replace(c, card=Card(masses={"pelvis": 4.0, "head": 1.0})))
    assert found.source == "the card" and found.parts == ("pelvis", "head") and found.total == 5.0
    middles = [(c.rest_head(p) + c.rest_end(p)) / 2 for p in found.parts]
    np.testing.assert_allclose(found.centers(c)[..., 0].T, middles, atol=1e-12)


def test_a_table_for_a_figure_unlike_people_says_so():
    whole = puppet.adult()
    squashed = np.where(whole.heads[:, 2:] < 0.94, 0.3, 1.0) * [0, 0, 1.0] + [1, 1, 0]
    heads, tails = whole.heads * squashed, whole.tails * squashed
    short = puppet.Puppet(whole.parts, heads, tails, puppet.bone_axes(heads, tails), whole.up, whole.forward)
    c = puppet.character_of(short, *puppet.pose(short, {}, np.zeros((3, 3))))
    found = masses_of(c)
    assert not found.why and "although the leg is" in told(found)


def test_a_figure_of_sheets_falls_back_on_the_table():
    c = adult()
    nothing = SkinMass((), np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3, 3)))
    assert masses_of(c, skin=nothing, by_volume=True).source.startswith("de Leva")


def test_a_volume_lies_where_the_skin_is_and_turns_with_its_bone():
    c = adult()
    middles = [(c.rest_head(p) + c.rest_end(p)) / 2 for p in ("head", "hand.L")]
    balls = [ball(0.1, tuple(middle)) for middle in middles]
    skin = weighed(np.concatenate([b[0] for b in balls]), np.concatenate([balls[0][1], balls[1][1] + len(balls[0][0])]),
                   np.repeat([0, 1], len(balls[0][0])), ("head", "hand.L"))
    turned = edit.turn(c, "hand.L", np.broadcast_to(rotation_about_x(1.0), (3, 3, 3)))
    found = masses_of(turned, skin=skin, by_volume=True)
    assert found.parts == ("head", "hand.L") and found.mass[0] == pytest.approx(found.mass[1], rel=0.02)
    joint = c.rest_head("hand.L")
    expected = joint + rotation_about_x(1.0) @ (middles[1] - joint)
    np.testing.assert_allclose(found.centers(turned)[..., 0].T, [middles[0], expected], atol=0.002)
    # a ball of radius r has second moments of r^2 / 5 a kilogram
    np.testing.assert_allclose(found.moments[1] / found.mass[1], np.eye(3) * 0.1**2 / 5, atol=5e-5)


def test_unknown_parts_are_refused():
    with pytest.raises(ValueError, match="wing"):
        weighed(np.zeros((3, 3)), np.array([[0, 1, 2]]), np.zeros(3, int), ("wing",))
