# SPDX-License-Identifier: GPL-3.0-or-later
"""What Blender stores of a spec: property groups, and the way between them and the core."""
