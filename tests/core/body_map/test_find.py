# SPDX-License-Identifier: GPL-3.0-or-later
"""The finder: laws that hold on every skeleton, and counts on random humans of held-out seeds."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.body_map.find import BodyMapError, find
from plumbline.core.body_map.skeleton import Skeleton
from plumbline.core.testing import cost
from plumbline.core.testing.humans import DEFAULTS, HABITS, Human, human

HELD_OUT = range(91_000, 91_000 + 280)


def made(seed: int) -> Human:
    k = seed % (len(HABITS) + len(DEFAULTS))
    return human(seed, HABITS[k]) if k < len(HABITS) else human(seed, None, DEFAULTS[k - len(HABITS)])


def names(skeleton: Skeleton) -> dict[str, str]:
    return {p: skeleton.names[b] for p, b in find(skeleton).parts.items()}


def moved(sk: Skeleton, turn: np.ndarray, scale: float = 1.0, by: tuple[float, float, float] = (0, 0, 0)) -> Skeleton:
    return replace(sk, heads=sk.heads @ turn.T * scale + by, tails=sk.tails @ turn.T * scale + by, axes=turn @ sk.axes)


def heading(degrees: float) -> np.ndarray:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def test_random_humans_on_held_out_seeds() -> None:
    right = wrong = missing = 0
    faults = []
    for seed in HELD_OUT:
        one = made(seed)
        found = names(one.skeleton)
        for part in body.PARTS:
            if part in one.truth and part in found:
                good = found[part] in one.truth[part]
                right, wrong = right + good, wrong + (not good)
            elif part in one.truth:
                missing += 1
            elif part in found:
                wrong += 1
        if any(found.get(p) not in t for p, t in one.truth.items()):
            faults.append(f"{seed} {one.what}")
    every = right + wrong + missing
    assert every > 5_000
    assert wrong <= 0.005 * every, faults
    assert missing <= 0.01 * every, faults


def test_every_habit_and_default_name_is_among_the_seeds() -> None:
    said = {made(seed).what.split()[0] for seed in HELD_OUT}
    assert said == {h.name for h in HABITS} | set(DEFAULTS)


@pytest.mark.parametrize("seed", range(12))
def test_same_at_any_heading_scale_and_place(seed: int) -> None:
    one = human(seed, HABITS[seed % len(HABITS)] if seed % 3 else None, straight=True)
    plain = find(one.skeleton)
    for degrees, scale, by in (
        (37, 1, (0, 0, 0)),
        (90, 100, (3, -2, 0)),
        (211, 0.01, (-8, 5, 0)),
        (0, 1, (900, 400, 20)),
    ):
        there = find(moved(one.skeleton, heading(degrees), scale, by))
        assert there.parts == plain.parts
        np.testing.assert_allclose(there.forward, heading(degrees) @ plain.forward, atol=1e-4)
        np.testing.assert_allclose(there.up, plain.up, atol=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_mirrored_without_names_swaps_sides(seed: int) -> None:
    one = human(seed, None, straight=True)
    flip = np.diag([-1.0, 1, 1])
    plain, there = find(one.skeleton), find(moved(one.skeleton, flip))
    assert there.parts == {body.mirror(p): b for p, b in plain.parts.items()}


@pytest.mark.parametrize("seed", range(8))
def test_bone_order_does_not_matter(seed: int) -> None:
    one = human(seed, HABITS[seed] if seed % 2 else None, straight=True)
    sk = one.skeleton
    order = np.random.default_rng(seed).permutation(len(sk))
    place = np.argsort(order)
    shuffled = Skeleton(
        tuple(sk.names[k] for k in order),
        tuple(sk.armatures[k] for k in order),
        np.array([place[sk.parents[k]] if sk.parents[k] >= 0 else -1 for k in order]),
        sk.heads[order],
        sk.tails[order],
        sk.axes[order],
        sk.deform[order],
        sk.weight[order],
    )
    assert names(shuffled) == names(sk)


@pytest.mark.parametrize("default", DEFAULTS)
def test_default_names_say_nothing(default: str) -> None:
    """The same skeleton under any language's default names gives the same map, by shape alone."""
    one = human(5, None, default, straight=True)
    plain = human(5, None, "Bone", straight=True)
    found = find(one.skeleton)
    assert found.parts == find(plain.skeleton).parts
    assert all(reason.startswith("by shape; its name says nothing") for reason in found.reasons.values())
    assert found.human and found.limbs == 2


def test_reasons_tell_names_from_shape() -> None:
    found = find(human(3, HABITS[0], straight=True).skeleton)
    assert found.reasons["thigh.L"] == "name and shape agree"
    assert not any("%" in r for r in found.reasons.values())


def test_forward_up_and_left_make_a_right_handed_body() -> None:
    one = human(4, HABITS[0], straight=True)
    found = find(one.skeleton)
    left = one.skeleton.heads[found.parts["thigh.L"]] - one.skeleton.heads[found.parts["thigh.R"]]
    assert np.cross(found.up, found.forward) @ left > 0
    np.testing.assert_allclose(found.forward, [0, -1, 0], atol=1e-6)


def test_names_against_the_feet_are_kept_and_said() -> None:
    sk = human(4, HABITS[0], straight=True).skeleton
    turned = moved(sk, np.diag([-1.0, 1, 1]))
    found = find(turned)
    assert turned.names[found.parts["thigh.L"]].endswith(".L")
    assert len(found.warnings) == 1 and "names were kept" in found.warnings[0]
    np.testing.assert_allclose(found.forward, [0, -1, 0], atol=1e-6)


def test_one_foot_turned_back_does_not_turn_a_named_figure_round() -> None:
    sk = human(4, HABITS[0], straight=True).skeleton
    heads, tails = sk.heads.copy(), sk.tails.copy()
    parts = find(sk).parts
    ankle = heads[parts["foot.L"]]
    behind = [k for k in (parts.get("foot.L"), parts.get("toe.L")) if k is not None]
    for k in behind:
        for places in (heads, tails):
            places[k, 1] = 2.5 * ankle[1] - 1.5 * places[k, 1]
    crooked = Skeleton(sk.names, sk.armatures, sk.parents, heads, tails, sk.axes, sk.deform, sk.weight)
    assert find(crooked).forward @ [0, -1, 0] > 0.8


def chain(n: int) -> Skeleton:
    heads = np.array([[0, 0, 0.1 * i] for i in range(n)]).reshape(-1, 3)
    return Skeleton(
        tuple(f"link{i}" for i in range(n)),
        ("Chain",) * n,
        np.arange(-1, n - 1),
        heads,
        heads + [0, 0, 0.1],
        np.tile(np.eye(3), (n, 1, 1)),
        np.ones(n, bool),
        np.zeros(n),
    )


def winged(sk: Skeleton, chest: int, bones: tuple[str, ...], drop: tuple[int, ...] = ()) -> Skeleton:
    """The figure with a wing of equal bones on each side of its back, without the bones ``drop``."""
    size = float(np.ptp(sk.heads, axis=0).max())
    keep = [i for i in range(len(sk)) if i not in drop]
    names_, heads, tails = ([column[i] for i in keep] for column in (sk.names, sk.heads, sk.tails))
    parents = [keep.index(int(sk.parents[i])) if sk.parents[i] >= 0 else -1 for i in keep]
    for letter, way in (("L", 1.0), ("R", -1.0)):
        above = keep.index(chest)
        for k, name in enumerate(bones):
            start = sk.heads[chest] + size * np.array([way * (0.03 + 0.15 * k), 0.03 + 0.03 * k, 0.05 + 0.04 * k])
            names_.append(f"{name}.{letter}")
            parents.append(above)
            heads.append(start)
            tails.append(start + size * np.array([way * 0.15, 0.03, 0.04]))
            above = len(names_) - 1
    new = len(names_) - len(keep)
    return Skeleton(
        tuple(names_),
        (sk.armatures[0],) * len(names_),
        np.array(parents),
        np.array(heads),
        np.array(tails),
        np.concatenate([sk.axes[keep], np.tile(np.eye(3), (new, 1, 1))]),
        np.append(sk.deform[keep], np.ones(new, bool)),
        np.append(sk.weight[keep], np.full(new, float(sk.weight.max()))),
    )


@pytest.mark.parametrize("seed", [4, 9, 14])
def test_wings_are_the_arms_of_a_bird_and_not_of_an_angel(seed: int) -> None:
    sk = human(seed, HABITS[0], straight=True).skeleton
    plain = find(sk).parts
    angel = find(winged(sk, plain["chest"], ("Wing", "Wing.001", "Wing.002")))
    assert {p: angel.parts.get(p) for p in plain} == plain
    arms = {plain[f"{p}.{s}"] for p in ("clavicle", "upper_arm") for s in "LR" if f"{p}.{s}" in plain}
    below = [i for i in range(len(sk)) if any(a in arms for a in above(sk, i))]
    bird = winged(sk, plain["chest"], ("shoulder", "Wing", "Wing.001", "Wing.002", "Wing.003"), tuple(below))
    found = names(bird)
    for part, bone in (("clavicle", "shoulder"), ("upper_arm", "Wing"), ("forearm", "Wing.001"), ("hand", "Wing.002")):
        assert (found[f"{part}.L"], found[f"{part}.R"]) == (f"{bone}.L", f"{bone}.R")


def above(sk: Skeleton, bone: int) -> list[int]:
    """The bone and all that it hangs from."""
    found = []
    while bone >= 0:
        found.append(bone)
        bone = int(sk.parents[bone])
    return found


@pytest.mark.parametrize("n", [0, 1, 2, 7, 40])
def test_a_chain_has_no_body(n: int) -> None:
    found = find(chain(n))
    assert found.parts == {} and not found.human and found.limbs == 0


def test_bad_numbers_and_cycles_do_not_stop_it() -> None:
    sk = human(6, HABITS[0], straight=True).skeleton
    heads = sk.heads.copy()
    heads[-1] = np.nan
    assert "thigh.L" in find(replace(sk, heads=heads, tails=sk.tails)).parts
    loop = sk.parents.copy()
    loop[0] = len(sk) - 1
    find(replace(sk, parents=loop))
    find(replace(sk, tails=sk.heads))
    assert find(replace(sk, heads=sk.heads * 0, tails=sk.tails * 0)).parts == {}


def test_control_bones_and_a_skin_on_the_real_ones() -> None:
    """A copy of every bone named like a control, and a goal far away, change nothing."""
    sk = human(7, HABITS[0], straight=True).skeleton
    n = len(sk)
    both = Skeleton(
        tuple(f"CTRL_{name}" for name in sk.names) + sk.names,
        ("A",) * (2 * n),
        np.concatenate([sk.parents, np.where(sk.parents >= 0, sk.parents + n, -1)]),
        np.vstack([sk.heads, sk.heads]),
        np.vstack([sk.tails, sk.tails]),
        np.concatenate([sk.axes, sk.axes]),
        np.ones(2 * n, bool),
        np.zeros(2 * n),
    )
    assert names(both) == names(sk)
    skinned = replace(both, weight=np.concatenate([np.zeros(n), np.full(n, 9.0)]))
    assert names(skinned) == names(sk)


def test_the_card_wins() -> None:
    sk = human(8, HABITS[0], straight=True).skeleton
    free = find(sk)
    chest, foot = sk.names[free.parts["chest"]], sk.names[free.parts["foot.L"]]
    found = find(sk, {"spine": chest, "foot.L": ""})
    assert sk.names[found.parts["spine"]] == chest and found.reasons["spine"] == "given by the card"
    assert "chest" not in found.parts and "foot.L" not in found.parts
    assert find(sk, {"foot.L": f"Armature/{foot}"}).parts["foot.L"] == free.parts["foot.L"]


def test_a_card_with_unknown_names_is_refused_in_one_sentence() -> None:
    sk = human(8, HABITS[0], straight=True).skeleton
    with pytest.raises(BodyMapError, match="'nowhere' for the left foot, but the character has no bone of that name"):
        find(sk, {"foot.L": "nowhere"})
    with pytest.raises(BodyMapError, match="unknown part 'paw.L'"):
        find(sk, {"paw.L": sk.names[0]})


def test_a_card_alone_makes_a_body_of_a_chain() -> None:
    found = find(chain(7), {"pelvis": "link2", "thigh.L": "link1", "thigh.R": "link0"})
    assert found.parts == {"pelvis": 2, "thigh.L": 1, "thigh.R": 0} and found.limbs == 2


def legs_of(pairs: int) -> Skeleton:
    """A beetle: a body of links that looks along y, a pair of three-jointed legs at each."""
    heads, tails, parents, words = [], [], [], []

    def add(word: str, parent: int, head: list[float], tail: list[float]) -> int:
        words.append(word), parents.append(parent), heads.append(head), tails.append(tail)
        return len(words) - 1

    last = -1
    for i in range(pairs + 1):
        last = add(f"link{i}", last, [0, 0.4 * i, 0.5], [0, 0.4 * i + 0.4, 0.5])
        for s in (1, -1) if i < pairs else ():
            k = add(f"u{i}.{'L' if s < 0 else 'R'}", last, [0.1 * s, 0.4 * i, 0.5], [0.3 * s, 0.4 * i, 0.45])
            k = add(f"v{i}.{'L' if s < 0 else 'R'}", k, [0.3 * s, 0.4 * i, 0.45], [0.4 * s, 0.4 * i, 0.2])
            add(f"w{i}.{'L' if s < 0 else 'R'}", k, [0.4 * s, 0.4 * i, 0.2], [0.42 * s, 0.4 * i, 0])
    n = len(words)
    return Skeleton(
        tuple(words),
        ("B",) * n,
        np.array(parents),
        np.array(heads),
        np.array(tails),
        np.tile(np.eye(3), (n, 1, 1)),
        np.ones(n, bool),
        np.zeros(n),
    )


@pytest.mark.parametrize("pairs", [2, 3, 4])
def test_many_legs_are_counted_and_are_not_human(pairs: int) -> None:
    found = find(legs_of(pairs))
    assert found.limbs == 2 * pairs and not found.human
    assert bool(found.warnings) == (pairs > 2)


def test_split_limbs_lend_no_twist_but_their_unsplit_copies_do() -> None:
    sk = human(9, HABITS[0], straight=True).skeleton
    found = find(sk)
    thigh, shin = found.parts["thigh.L"], found.parts["shin.L"]
    assert found.copies["thigh.L"][0] == thigh
    # Split the thigh in two and add the whole one as an ORG- bone without skin.
    n = len(sk)
    half = (sk.heads[thigh] + sk.heads[shin]) / 2
    parents = np.concatenate([sk.parents, [thigh, sk.parents[thigh]]])
    parents[shin] = n
    tails = sk.tails.copy()
    tails[thigh] = half
    split = Skeleton(
        (*sk.names, "thigh_more.L", "ORG-thigh.L"),
        ("A",) * (n + 2),
        parents,
        np.vstack([sk.heads, [half, sk.heads[thigh]]]),
        np.vstack([tails, [sk.tails[thigh], sk.tails[thigh]]]),
        np.concatenate([sk.axes, sk.axes[[thigh, thigh]]]),
        np.ones(n + 2, bool),
        np.concatenate([sk.weight, [50.0, 0.0]]),
    )
    there = find(split)
    assert (
        split.names[there.parts["thigh.L"]] == sk.names[thigh] and split.names[there.parts["shin.L"]] == sk.names[shin]
    )
    assert there.copies["thigh.L"] == (n + 1,)


def test_it_is_quick_on_many_bones() -> None:
    """823 bones within 0.35 s of CPU."""
    sk = human(10, HABITS[0], straight=True).skeleton
    n, copies = len(sk), 823 // len(sk)
    many = Skeleton(
        tuple(f"{prefix}{name}" for prefix in ["DEF-"] + [f"MCH-{k}-" for k in range(copies)] for name in sk.names),
        ("A",) * (n * (copies + 1)),
        np.concatenate([np.where(sk.parents >= 0, sk.parents + n * k, -1) for k in range(copies + 1)]),
        np.tile(sk.heads, (copies + 1, 1)),
        np.tile(sk.tails, (copies + 1, 1)),
        np.tile(sk.axes, (copies + 1, 1, 1)),
        np.ones(n * (copies + 1), bool),
        np.concatenate([np.full(n, 5.0), np.zeros(n * copies)]),
    )
    assert many.names[find(many).parts["thigh.L"]].startswith("DEF-")
    assert cost.seconds(lambda: find(many), 3) < 0.35
