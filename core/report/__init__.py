# SPDX-License-Identifier: GPL-3.0-or-later
"""Notes as text, JSON and pictures."""
