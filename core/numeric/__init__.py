# SPDX-License-Identifier: GPL-3.0-or-later
"""Arrays in, arrays out: no shot, no check, no Blender."""
