# SPDX-License-Identifier: GPL-3.0-or-later
"""Asks scipy.spatial.transform.Rotation for joint rotations of known intrinsic Z-X-Y angles, and keeps its answers.

Writes joint_angles.npz beside itself: for each joint ``angles_<joint>`` (N, 3) degrees (flexion, abduction, rotation;
knee and elbow only flex) and ``matrix_<joint>`` (N, 3, 3), what scipy makes of them.
"""

from pathlib import Path

import numpy as np

FILE = Path(__file__).with_suffix(".npz")
COUNT = 60

#: joint -> (least, most) of flexion, abduction, rotation, degrees. Hips stay short of the gimbal.
SPANS = {
    "heading": ((-10, 10), (-10, 10), (-180, 180)),
    "trunk": ((-95, 30), (-40, 40), (-45, 45)),
    "neck": ((-40, 40), (-35, 35), (-80, 80)),
    "hip_L": ((-40, 140), (-70, 70), (-60, 60)),
    "hip_R": ((-40, 140), (-70, 70), (-60, 60)),
    "knee_L": ((-20, 160), (0, 0), (0, 0)),
    "knee_R": ((-20, 160), (0, 0), (0, 0)),
    "ankle_L": ((-60, 55), (-25, 25), (-20, 20)),
    "ankle_R": ((-60, 55), (-25, 25), (-20, 20)),
    "shoulder_L": ((-60, 170), (-80, 80), (-80, 80)),
    "shoulder_R": ((-60, 170), (-80, 80), (-80, 80)),
    "elbow_L": ((-10, 155), (0, 0), (0, 0)),
    "elbow_R": ((-10, 155), (0, 0), (0, 0)),
    "wrist_L": ((-80, 80), (-30, 30), (0, 0)),
    "wrist_R": ((-80, 80), (-30, 30), (0, 0)),
}


def ask() -> dict[str, np.ndarray]:
    """scipy's matrices for random angles; the left knee and the elbows bend about Z as the frames' letters say."""
    from scipy.spatial.transform import Rotation

    rng = np.random.default_rng(20251125)
    out = {}
    for joint, spans in SPANS.items():
        least, most = np.array(spans, float).T
        angles = rng.uniform(least, most, (COUNT, 3))
        # knees bend about -Z: the ISB's sign of knee flexion is the opposite of the trade's
        signs = np.array([-1.0 if joint.startswith("knee") else 1.0, 1.0, 1.0])
        out[f"angles_{joint}"] = angles
        out[f"matrix_{joint}"] = Rotation.from_euler("ZXY", angles * signs, degrees=True).as_matrix()
    return out


if __name__ == "__main__":
    np.savez_compressed(FILE, **ask())
    print(f"{FILE.name}: {COUNT} poses of {len(SPANS)} joints, {FILE.stat().st_size} bytes")
