# SPDX-License-Identifier: GPL-3.0-or-later
"""Names: folding, sides by pairing, and the dictionary."""

import pytest
from plumbline.core.body_map.names import fold, is_control, pair_sides, points


@pytest.mark.parametrize(
    "name, tokens",
    [
        ("mixamorig:LeftUpLeg", ("left", "up", "leg")),
        ("Armature|thigh.L.001", ("thigh", "l", "001")),
        ("DEF-upper_arm.L", ("def", "upper", "arm", "l")),
        ("Schlüsselbein_links", ("schlusselbein", "links")),
        ("Fuß", ("fuss",)),
        ("左ひざ", ("左", "ひざ")),
        ("IKTarget", ("ik", "target")),
        ("предплечье.Л", ("предплечье", "л")),
        ("", ()),
        (
            ":",
            (),
        ),
    ],
)
def test_folding(name: str, tokens: tuple[str, ...]) -> None:
    assert fold(name) == tokens


@pytest.mark.parametrize(
    "left, right, words",
    [
        ("thigh.L", "thigh.R", ("thigh",)),
        ("LeftLeg", "RightLeg", ("leg",)),
        ("lfemur", "rfemur", ("femur",)),
        ("main.G", "main.D", ("main",)),
        ("Leg1_ZL", "Leg1_ZR", ("leg", "1", "z")),
        ("mano_izq", "mano_der", ("mano",)),
        ("左足", "右足", ("足",)),
        ("кисть.Л", "кисть.П", ("кисть",)),
        ("ruka_lev", "ruka_prav", ("ruka",)),
        ("leftforearm", "rightforearm", ("forearm",)),
        ("l_r0", "r_r0", ("r", "0")),
    ],
)
def test_sides_by_pairing(left: str, right: str, words: tuple[str, ...]) -> None:
    side, partner, rest = pair_sides([fold(left), fold(right), fold("spine")])
    assert side == ["L", "R", ""] and partner == [1, 0, -1]
    assert [tuple(w.strip("<>") for w in r) for r in rest[:2]] == [words, words]


@pytest.mark.parametrize("name", ["thigh.L", "leg", "lip", "Der.Kopf", "G"])
def test_a_side_without_its_counterpart_is_none(name: str) -> None:
    assert pair_sides([fold(name), fold("spine")])[0] == ["", ""]


@pytest.mark.parametrize(
    "name, part",
    [
        ("upperleg", "thigh"),
        ("calf", "shin"),
        ("Oberarm", "upper_arm"),
        ("avant-bras", "forearm"),
        ("голень", "shin"),
        ("手首", "hand"),
        ("锁骨", "clavicle"),
        ("cabeça", "head"),
        ("DEF-thigh", "thigh"),
        ("bip01 Pelvis", "pelvis"),
        ("lowerarm_stretch", "forearm"),
    ],
)
def test_dictionary(name: str, part: str) -> None:
    said = points(fold(name), True)
    assert max(said, key=lambda p: said[p]) == part


@pytest.mark.parametrize(
    "name",
    ["Bone.001", "ボーン.002", "Knochen", "骨骼.003", "Hueso", "Кость", "Bone", "Bone.L", "hair1", "eye", "thumb.01"],
)
def test_names_that_say_nothing(name: str) -> None:
    assert points(fold(name), False) == {}


def test_a_hip_is_the_pelvis_in_the_middle_and_the_thigh_at_a_side() -> None:
    assert set(points(("hip",), False)) == {"pelvis"} and "thigh" in points(("hip",), True)


def test_controls_by_whole_words_only() -> None:
    assert (
        is_control(fold("CTRL_hand"))
        and is_control(fold("foot_ik.L"))
        and not is_control(fold("spike"))
        and not is_control(fold("poleaxe"))
    )
