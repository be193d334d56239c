# SPDX-License-Identifier: GPL-3.0-or-later
"""How people's mass is spread over their segments: share of the whole, center of mass, radii of gyration.

Two publications, both as transcribed in the open repository BMClab/BMC (CC BY 4.0); the originals were not read:

- de Leva 1996, J Biomech 29(9):1223-1230, Table 4 (data/BSPmale_ZdeLeva.txt, BSPfemale_ZdeLeva.txt);
- Dempster by way of Winter, Table 4.1 (data/BSP_DempsterWinter.txt): shares and centers only.

Which table is taken moves the center of mass of one standing body by up to 2 cm in height and 1 cm to any side: no
limit may be finer than that. The mean of de Leva's men and women is what we take unless told otherwise.
"""

from dataclasses import dataclass

DE_LEVA = "de Leva 1996, J Biomech 29:1223-1230, Table 4"
DEMPSTER = "Dempster by way of Winter, Table 4.1"

#: The segments of a table, center line first; limbs count once a side.
CENTER = ("head", "upper_trunk", "middle_trunk", "lower_trunk")
LIMBS = ("upper_arm", "forearm", "hand", "thigh", "shin", "foot")


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment: share of the body's mass (0 to 1), center of mass as a share of the length from the upper end, radii
    of gyration about the center as shares of the length, about the front-to-back, side-to-side and long axes."""

    share: float
    center: float
    gyration: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class BodyTable:
    """One table. Lengths: head from vertex to C7 (the last neck vertebra), trunk pieces along the line from C7 to the
    middle of the hips, upper arm shoulder to elbow, forearm elbow to wrist, hand wrist to tip of the third finger,
    thigh hip to knee, shin knee to ankle, foot heel to longest toe.

    trunk: shares of the C7 to hips line that the three pieces take, upper first, their sum 1. c7: how far C7 lies from
    the middle of the hips, over the distance of the middle of the shoulders. knuckle: center of the hand as a share of
    the length from wrist to third knuckle. ankle_to_ball: the foot's length is that from ankle to ball instead.
    """

    name: str
    source: str
    segments: dict[str, Segment]
    trunk: tuple[float, float, float]
    c7: float
    knuckle: float
    ankle_to_ball: bool = False


# de Leva's three trunk pieces end at xiphion and navel, whose places the table does not print. They follow from it:
# only with these lengths do the pieces' rows give the row of the whole trunk from C7 (center and both radii, to
# 0.0001; three equations for two unknowns). Where C7 lies follows from the two rows of the whole trunk, whose center
# is the same point: (1 - center from the mid-shoulders) / (1 - center from C7).
MALE = BodyTable(
    "male",
    f"{DE_LEVA}, men",
    {
        "head": Segment(0.0694, 0.5002, (0.303, 0.315, 0.261)),
        "upper_trunk": Segment(0.1596, 0.5066, (0.505, 0.320, 0.465)),
        "middle_trunk": Segment(0.1633, 0.4502, (0.482, 0.383, 0.468)),
        "lower_trunk": Segment(0.1117, 0.6115, (0.615, 0.551, 0.587)),
        "upper_arm": Segment(0.0271, 0.5772, (0.285, 0.269, 0.158)),
        "forearm": Segment(0.0162, 0.4574, (0.276, 0.265, 0.121)),
        "hand": Segment(0.0061, 0.3624, (0.288, 0.235, 0.184)),
        "thigh": Segment(0.1416, 0.4095, (0.329, 0.329, 0.149)),
        "shin": Segment(0.0433, 0.4395, (0.251, 0.246, 0.102)),
        "foot": Segment(0.0137, 0.4415, (0.257, 0.245, 0.124)),
    },
    (0.39366, 0.35748, 0.24886),
    (1 - 0.4310) / (1 - 0.5138),
    0.7900,
)

FEMALE = BodyTable(
    "female",
    f"{DE_LEVA}, women",
    {
        "head": Segment(0.0668, 0.4841, (0.271, 0.295, 0.261)),
        "upper_trunk": Segment(0.1545, 0.5050, (0.466, 0.314, 0.449)),
        "middle_trunk": Segment(0.1465, 0.4512, (0.433, 0.354, 0.415)),
        "lower_trunk": Segment(0.1247, 0.4920, (0.433, 0.402, 0.444)),
        "upper_arm": Segment(0.0255, 0.5754, (0.278, 0.260, 0.148)),
        "forearm": Segment(0.0138, 0.4559, (0.261, 0.257, 0.094)),
        "hand": Segment(0.0056, 0.3427, (0.244, 0.208, 0.154)),
        "thigh": Segment(0.1478, 0.3612, (0.369, 0.364, 0.162)),
        "shin": Segment(0.0481, 0.4352, (0.267, 0.263, 0.092)),
        "foot": Segment(0.0129, 0.4014, (0.299, 0.279, 0.139)),
    },
    (0.37124, 0.33292, 0.29584),
    (1 - 0.3782) / (1 - 0.4964),
    0.7474,
)


def _mean(a: BodyTable, b: BodyTable) -> BodyTable:
    """Halfway between two tables, row by row."""

    def half(x: float, y: float) -> float:
        return (x + y) / 2

    def three(x: tuple[float, float, float], y: tuple[float, float, float]) -> tuple[float, float, float]:
        return half(x[0], y[0]), half(x[1], y[1]), half(x[2], y[2])

    return BodyTable(
        "mean",
        f"{DE_LEVA}, mean of men and women",
        {
            name: Segment(half(one.share, two.share), half(one.center, two.center), three(one.gyration, two.gyration))
            for name, one, two in ((n, a.segments[n], b.segments[n]) for n in a.segments)
        },
        three(a.trunk, b.trunk),
        half(a.c7, b.c7),
        half(a.knuckle, b.knuckle),
    )


MEAN = _mean(MALE, FEMALE)


def _dempster() -> BodyTable:
    """Dempster's shares and centers; what it does not give (trunk pieces, radii, hands to the tip) is de Leva's mean.

    Its trunk (0.497, center halfway from the hips to the shoulders) is shared out over the three pieces with de Leva's
    middle; how much is upper and lower follows from where the center is. Its head and neck have their center at the ear
    canal, which is about the middle from C7 to the vertex.
    """
    shares = {"head": 0.081, "upper_arm": 0.028, "forearm": 0.016, "hand": 0.006, "thigh": 0.100, "shin": 0.0465,
              "foot": 0.0145}
    centers = {"upper_arm": 0.436, "forearm": 0.430, "thigh": 0.433, "shin": 0.433, "foot": 0.500}
    pieces = [MEAN.segments[name] for name in CENTER[1:]]
    starts = (0.0, MEAN.trunk[0], MEAN.trunk[0] + MEAN.trunk[1])
    upper, middle, lower = (at + piece.center * length
                            for at, piece, length in zip(starts, pieces, MEAN.trunk, strict=True))
    whole = 0.497
    halfway = 1 - 0.5 / MEAN.c7  # from C7, of the line to the hips
    shares["middle_trunk"] = whole * pieces[1].share / sum(piece.share for piece in pieces)
    rest = whole - shares["middle_trunk"]
    moment = whole * halfway - shares["middle_trunk"] * middle
    shares["lower_trunk"] = (moment - rest * upper) / (lower - upper)
    shares["upper_trunk"] = rest - shares["lower_trunk"]
    return BodyTable(
        "dempster",
        f"{DEMPSTER}; radii of gyration and pieces of the trunk after {DE_LEVA}",
        {n: Segment(shares[n], centers.get(n, s.center), s.gyration) for n, s in MEAN.segments.items()},
        MEAN.trunk,
        MEAN.c7,
        MEAN.knuckle,
        True,
    )


TABLES = {table.name: table for table in (MEAN, MALE, FEMALE, _dempster())}

#: Density that a body's mesh is filled with: water's; people float, just so. Common practice, no source.
BODY_DENSITY = 1000.0  # kg / m3

#: Mass over the square of height of an average build: the middle of what is called the normal range of the body mass
#: index, 18.5 to 24.9; common practice, no source. Only where a card types some masses and not others does it tell.
AVERAGE_BUILD = 21.7  # kg / m2
