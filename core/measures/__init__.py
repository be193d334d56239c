# SPDX-License-Identifier: GPL-3.0-or-later
"""What several checks share: each measure is computed once for a shot, by ``Study.of``."""
