# SPDX-License-Identifier: GPL-3.0-or-later
"""Names that more than one room of the extension needs."""

TAB = "Medalwright"
"""The tab of the sidebar."""

PACKAGE = __package__ or ""
"""What Blender calls the extension."""
