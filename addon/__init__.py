# SPDX-License-Identifier: GPL-3.0-or-later
"""Medalwright in Blender: a sidebar tab over the geometry core.

What is asked for lives in properties of the object, so that undo, copies and saved files
carry it. Building runs in a worker process; results come back as arrays.
"""

from __future__ import annotations


def register() -> None:
    """Add the extension to Blender; without its libraries, only the panel that says so."""
    from . import registry

    registry.register()


def unregister() -> None:
    """Take back everything `register` added, the worker process included."""
    from . import registry

    registry.unregister()
