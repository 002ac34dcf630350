# SPDX-License-Identifier: GPL-3.0-or-later
"""Building beside Blender: the process, its jobs, and what follows changes."""
