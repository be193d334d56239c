# SPDX-License-Identifier: GPL-3.0-or-later
"""Finding the body on a skeleton: ``find(skeleton)`` tells which bone carries which part, and why."""
