# SPDX-License-Identifier: GPL-3.0-or-later
"""How far joints go, in degrees: the published ranges, and the limits that we note from, with the reason beside each.

Published ranges are passive, unloaded and taken one joint at a time: weight on a foot doubles its dorsiflexion, and a
kick or a crouch passes most of them honestly. So our limits start from what captured and keyed motion reaches
("measured": the highest of 28 captured clips, 2.3 minutes, capture noise apart), and the published range is printed
beside them. A limit inside the published range needs a reason in words.

Signs are trade signs: flexion, dorsiflexion, abduction and internal rotation are positive on both sides. (The ISB's
knee flexion has the opposite sign.)
"""

from dataclasses import dataclass

UPPER = "AAOS, AMA, Boone and Azen 1979, Macedo and Magee, as quoted by fadavispt.mhmedical.com Table A.1"
CLINIC = "clinic tables of medicospace.com and Merck"
OLDER = "older women, J Physiol Anthropol s40101-016-0120-8 Table 3"
CDC = "CDC, Soucie 2011, Haemophilia 17:500-507, ages 2 to 8"
NECK = "anatomystandard.com, C0 to C7, young men"
EXRX = "exrx.net"
LUMBAR = "yoga-age.com, after Kurz, and a weak web source; lumbar spine only"
MEASURED = "measured on captured motion; common practice, no source"


@dataclass(frozen=True, slots=True)
class Published:
    """A published end of a range: from the least to the most that the sources give, degrees."""

    least: float
    most: float
    source: str

    def __str__(self) -> str:
        size = f"{self.least:g}" if self.least == self.most else f"{self.least:g} to {self.most:g}"
        return f"{size} deg ({self.source})"


@dataclass(frozen=True, slots=True)
class Range:
    """One end of one joint angle.

    name: the angle, as cards name it; part: the part that turns ('shin'); kind: which way it goes too far.
    opposite: the angle that is this one with its sign turned. most: our limit, None = judged only by a card.
    published: what the sources say, None = nothing found. reason: why ours is not theirs.
    eased: (angle, from, to, most): along that other angle the limit rises evenly from ``most`` to the last number.
    verb: how a sentence tells it, after the part's name.
    """

    name: str
    part: str
    kind: str
    verb: str
    most: float | None
    published: Published | None
    reason: str
    opposite: str = ""
    eased: tuple[str, float, float, float] | None = None

    @property
    def source(self) -> str:
        """The sentence that a note prints beside its limit."""
        ours = "no default limit" if self.most is None else f"range ends at {self.most:g} deg"
        beside = f"published {self.published}" if self.published else MEASURED
        return f"{ours}: {self.reason}; {beside}"


_REAL = "captured motion goes there"

RANGES: tuple[Range, ...] = (
    Range(
        "knee_flexion",
        "shin",
        "flexion",
        "is bent to",
        155.0,
        Published(127.6, 152.6, f"{CLINIC}; {OLDER}; {CDC}"),
        "deep squats of captured motion reach 152",
        "knee_hyperextension",
    ),
    Range(
        "knee_hyperextension",
        "shin",
        "hyperextension",
        "is bent backward by",
        5.0,
        Published(1.6, 5.4, CDC),
        "the usual adult range; 5.4 is girls of 2 to 8 years",
        "knee_flexion",
    ),
    Range(
        "elbow_flexion",
        "forearm",
        "flexion",
        "is bent to",
        155.0,
        Published(140.0, 150.0, UPPER),
        "captured motion reaches 151",
        "elbow_hyperextension",
    ),
    Range(
        "elbow_hyperextension",
        "forearm",
        "hyperextension",
        "is bent backward by",
        8.0,
        Published(0.0, 2.0, UPPER),
        "the hinge of a captured elbow is worth 3 to 5 deg",
        "elbow_flexion",
    ),
    Range(
        "wrist_tilt",
        "hand",
        "tilt",
        "is tilted against the forearm by",
        80.0,
        Published(60.0, 93.0, UPPER),
        "93 is the highest of four sources, three end at 80 or below, and captured hands stay under 79; "
        "a hand that bears weight is given 95",
    ),
    Range(
        "hip_flexion",
        "thigh",
        "flexion",
        "is raised to the front by",
        140.0,
        Published(122.6, 140.8, f"{CLINIC}; {OLDER}; {CDC}"),
        "140.8 is girls of 2 to 8 years; adults end at 125",
        "hip_extension",
    ),
    Range(
        "hip_extension",
        "thigh",
        "extension",
        "is swung to the back by",
        35.0,
        Published(15.0, 28.3, f"{CLINIC}; {OLDER}; {CDC}"),
        "captured runs and jumps reach 32, the pelvis taking part",
        "hip_flexion",
    ),
    Range(
        "hip_abduction",
        "thigh",
        "abduction",
        "is spread to the side by",
        60.0,
        Published(45.0, 45.0, CLINIC),
        "captured kicks reach 56; a raised thigh spreads farther",
        "hip_adduction",
        ("hip_flexion", 30.0, 90.0, 90.0),
    ),
    Range(
        "hip_adduction",
        "thigh",
        "adduction",
        "is crossed over to the other side by",
        35.0,
        Published(45.0, 45.0, CLINIC),
        "45 is the leg crossed in front of a still one, passively; captured motion stays under 26",
        "hip_abduction",
    ),
    Range(
        "ankle_dorsiflexion",
        "foot",
        "dorsiflexion",
        "is bent up against the shin by",
        55.0,
        Published(17.7, 24.8, f"{CLINIC}; {OLDER}; {CDC}"),
        "under the body's weight ankles of captured motion reach 54",
        "ankle_plantarflexion",
    ),
    Range(
        "ankle_plantarflexion",
        "foot",
        "plantarflexion",
        "is pointed down by",
        65.0,
        Published(50.0, 58.0, f"{CLINIC}; {OLDER}"),
        _REAL,
        "ankle_dorsiflexion",
    ),
    Range(
        "arm_behind",
        "upper_arm",
        "behind",
        "is behind the body by",
        70.0,
        Published(50.0, 70.0, UPPER),
        "captured motion reaches 64",
    ),
    Range(
        "arm_elevation",
        "upper_arm",
        "elevation",
        "is raised from the side by",
        None,
        Published(167.0, 188.0, UPPER),
        "an arm can go straight up",
    ),
    Range(
        "neck_tilt",
        "head",
        "tilt",
        "is tilted against the chest by",
        70.0,
        Published(49.0, 64.0, NECK),
        "captured motion reaches 67, the upper back taking part",
    ),
    Range(
        "neck_rotation",
        "head",
        "rotation",
        "is turned against the chest by",
        90.0,
        Published(60.0, 80.0, EXRX),
        "captured motion reaches 88, the upper back taking part",
    ),
    Range(
        "trunk_forward",
        "chest",
        "forward",
        "is bent forward against the pelvis by",
        100.0,
        Published(60.0, 75.0, LUMBAR),
        "from pelvis to chest, more than the lumbar spine bends",
        "trunk_back",
    ),
    Range(
        "trunk_back",
        "chest",
        "back",
        "is bent back against the pelvis by",
        35.0,
        Published(25.0, 30.0, LUMBAR),
        "from pelvis to chest, more than the lumbar spine bends",
        "trunk_forward",
    ),
    Range(
        "trunk_side",
        "chest",
        "side",
        "is bent sideways against the pelvis by",
        45.0,
        Published(25.0, 35.0, LUMBAR),
        "from pelvis to chest, more than the lumbar spine bends",
    ),
    Range(
        "trunk_rotation",
        "chest",
        "rotation",
        "is turned against the pelvis by",
        50.0,
        None,
        "captured motion reaches 45",
    ),
    Range(
        "hip_internal_rotation",
        "thigh",
        "internal rotation",
        "is rolled inward by",
        None,
        Published(29.6, 45.0, f"{CLINIC}; Kouyoumdjian 2012, OTSR 98:17-23"),
        "a rolled thigh is known to no better than 5 deg, and captured motion passes 80",
        "hip_external_rotation",
    ),
    Range(
        "hip_external_rotation",
        "thigh",
        "external rotation",
        "is rolled outward by",
        None,
        Published(38.5, 45.0, f"{CLINIC}; Kouyoumdjian 2012, OTSR 98:17-23"),
        "a rolled thigh is known to no better than 5 deg, and captured motion passes 59",
        "hip_internal_rotation",
    ),
)

BY_NAME = {r.name: r for r in RANGES}

#: A hand that bears the body's weight is pressed flatter than the wrist goes by itself (push-up, crawl: 90 measured).
BEARING_WRIST = 95.0

#: What is judged without a card on a character that is not human.
ANY_BODY = ("knee_hyperextension", "elbow_hyperextension")
