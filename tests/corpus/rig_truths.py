# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bone is which part on the rigs of the table, written by hand."""

from collections.abc import Callable

Truth = dict[str, frozenset[str]]


def truth_of(lines: str, sides: tuple[str, str] = ("L", "R"), rename: Callable[[str], str] = lambda n: n) -> Truth:
    """'thigh.* upper_leg.{s}; spine spine.001|spine.002' -> part -> right names; * and {s} stand for both sides."""
    truth: Truth = {}
    for entry in lines.split(";"):
        part, names = entry.split()
        for letter, side in zip("LR", sides, strict=True):
            key = part.replace("*", letter)
            truth[key] = frozenset(rename(n.replace("{s}", side)) for n in names.split("|"))
    return truth


def generated(truth: Truth) -> Truth:
    """Names of a generated rig: the bones that the skin would hang on."""
    return {p: frozenset(f"DEF-{n}" for n in names) for p, names in truth.items()}


BASIC = truth_of(
    "pelvis spine; spine spine.001|spine.002; chest spine.003; neck spine.004|spine.005; head spine.006; "
    "clavicle.* shoulder.{s};"
    "upper_arm.* upper_arm.{s}; forearm.* forearm.{s}; hand.* hand.{s}; thigh.* thigh.{s}; shin.* shin.{s}; "
    "foot.* foot.{s}; toe.* toe.{s}"
)
#: Hips, trunk and head are numbered along one spine in most; front legs count as arms.
LONG_BACK = (
    "pelvis spine.004|spine.005; spine spine.006|spine.007; chest spine.007|spine.008; neck spine.009|spine.010; "
    "head spine.011;"
    "thigh.* thigh.{s}; shin.* shin.{s}; foot.* foot.{s}; toe.* toe.{s};"
    "clavicle.* shoulder.{s}; upper_arm.* front_thigh.{s}; forearm.* front_shin.{s}; hand.* front_foot.{s}"
)
ANIMALS = {
    "basic_quadruped": LONG_BACK,
    "wolf": LONG_BACK,
    "cat": "pelvis spine; spine spine.001|spine.002; chest spine.003; neck spine.004|spine.005; head spine.006;"
    "thigh.* thigh.{s}; shin.* shin.{s}; foot.* foot.{s}; toe.* r_toe.{s};"
    "clavicle.* shoulder.{s}; upper_arm.* upper_arm.{s}; forearm.* forearm.{s}; hand.* hand.{s}",
    "horse": "pelvis spine.001|spine.002; spine spine.003|spine.004; chest spine.005|spine.006; neck "
    "neck.001|neck.002; head head;"
    "thigh.* thigh.{s}; shin.* lower_leg.{s}; foot.* hind_foot.{s}; toe.* r_toe.{s};"
    "clavicle.* shoulder.{s}; upper_arm.* upper_arm.{s}; forearm.* forearm.{s}; hand.* forefoot.{s}",
    "bird": "pelvis spine.003|spine.004; chest spine.005|spine.006; neck neck.001|neck.002|spine.006; head head; "
    "thigh.* thigh.{s};"
    "shin.* shin.{s}; foot.* foot.{s}; toe.* toe.{s}; clavicle.* shoulder.{s}; upper_arm.* Wing.{s}; forearm.* "
    "Wing.001.{s};"
    "hand.* Wing.002.{s}",
}

MESH2MOTION = truth_of(
    "pelvis pelvis; spine spine_01|spine_02; chest spine_03; neck neck_01; head head; clavicle.* clavicle_{s}; "
    "upper_arm.* upperarm_{s};"
    "forearm.* lowerarm_{s}; hand.* hand_{s}; thigh.* thigh_{s}; shin.* calf_{s}; foot.* foot_{s}; toe.* ball_{s}",
    ("l", "r"),
)
KAYKIT = truth_of(
    "pelvis hips; spine spine; chest chest; head head; upper_arm.* upperarm.{s}; forearm.* lowerarm.{s}; hand.* "
    "hand.{s}|wrist.{s};"
    "thigh.* upperleg.{s}; shin.* lowerleg.{s}; foot.* foot.{s}; toe.* toes.{s}",
    ("l", "r"),
)
GODOT = truth_of(
    "pelvis hip; spine waist; chest chest; neck neck; head head; upper_arm.* {s}-arm; forearm.* {s}-forearm; "
    "thigh.* {s}-thigh;"
    "shin.* {s}-leg; foot.* {s}-foot",
    ("l", "r"),
)
PANDA = truth_of(
    "pelvis Torso; neck Neck; head Head; thigh.* Leg1_Z{s}; shin.* Leg2_Z{s}; foot.* Leg3_Z{s}; clavicle.* leg1_P{s};"
    "upper_arm.* Leg2_P{s}; forearm.* Leg3_P{s}; hand.* Leg4_P{s}"
)
RUNNER = truth_of(
    "pelvis Bone.006; thigh.* Bone_{s}.001; shin.* Bone_{s}.003; foot.* Bone_{s}.002; upper_arm.* Bone.003_{s}; "
    "forearm.* Bone.003_{s}.001"
)
RUNNER["hand.L"] = frozenset({"Bone.003_L.002"})
SANTA = truth_of(
    "pelvis skelet; head sheya; clavicle.* {s}_r0; upper_arm.* {s}_r1; forearm.* {s}_r2; thigh.* {s}_n0; shin.* {s}_n1",
    ("l", "r"),
)
CMU = truth_of(
    "pelvis root; spine lowerback|upperback; chest thorax; neck lowerneck|upperneck; head head; clavicle.* {s}clavicle;"
    "upper_arm.* {s}humerus; forearm.* {s}radius; hand.* {s}hand|{s}wrist; thigh.* {s}femur; shin.* {s}tibia; "
    "foot.* {s}foot; toe.* {s}toes",
    ("l", "r"),
)
