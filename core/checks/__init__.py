# SPDX-License-Identifier: GPL-3.0-or-later
"""One file a check; ``catalogue`` finds them by walking this folder."""
