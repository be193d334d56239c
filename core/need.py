# SPDX-License-Identifier: GPL-3.0-or-later
"""What a check can ask the sampling to read."""

from enum import Flag, auto


class Need(Flag):
    """One thing that sampling can deliver; a check's needs are the union of its own and its measures'."""

    JOINTS = auto()  # heads and tails of the mapped bones
    ROTATIONS = auto()  # their axes, and the soles that they carry
    GOALS = auto()  # targets of inverse-kinematics constraints
    KEYS = auto()  # keyframes of the animation curves
    CAMERA = auto()  # the camera in use, frame by frame
    GROUND = auto()  # triangles of the ground
    PROPS = auto()  # paths of the props
    VOLUMES = auto()  # room that the skin of a figure takes up that is not built like people
    KISSES = auto()  # places where outlines come near each other, reduced from evaluated meshes


NOTHING = Need(0)
