# SPDX-License-Identifier: GPL-3.0-or-later
"""Shots to test on, faults to plant, remedies applied to sampled motion, and the laws that every check obeys."""
