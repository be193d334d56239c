# SPDX-License-Identifier: GPL-3.0-or-later
"""Finding which bone plays which part of the body, from names, tree, rest pose and position."""
