# SPDX-License-Identifier: GPL-3.0-or-later
"""Sculpting a relief on a sheet that stands on the piece."""
