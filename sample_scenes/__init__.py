# SPDX-License-Identifier: GPL-3.0-or-later
"""Sample shots, built by scripts: a lighthouse keeper with a lantern climbs two steps, turns and reaches up to the
lamp."""
