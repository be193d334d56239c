# SPDX-License-Identifier: GPL-3.0-or-later
"""Plumbline's core: body mechanics measured on numpy arrays, without Blender.

Conventions, everywhere in this package:

- meters, seconds, radians inside; notes speak the units that the notes file names (m, m/s, s, deg, frames, px, 1);
- the world is Z up and right-handed, as Blender's;
- arrays are frame-major: the first axis is the sampled frame, shape (F, ...);
- rotations are 3 x 3 matrices whose columns are a frame's axes in the world: no quaternion order or sign to get wrong;
- frames in a Shot are scene frames; indices into its arrays are called ``i`` and never shown to people.
"""
