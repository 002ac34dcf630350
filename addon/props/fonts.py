# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender's font data-blocks as typefaces: their files, packed ones written out first."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import bpy

from ..constants import PACKAGE

BUILT_IN = "<builtin>"
"""What Blender gives as the file of its own font, which is inside the program."""
_SUFFIXES = {b"OTTO": ".otf", b"ttcf": ".ttc"}


def block_property(changed: Any) -> Any:
    """Return the property that picks a font of the file; it stands beside the font's name."""
    return bpy.props.PointerProperty(
        name="Font of This File",
        description=(
            "Font that text objects of this file use, packed or not, in place of the one "
            "named above. Blender's built-in font has no file and cannot be cut"
        ),
        type=bpy.types.VectorFont,
        poll=has_file,
        update=changed,
    )


def has_file(group: Any, font: bpy.types.VectorFont) -> bool:
    """Tell whether a font has outlines the core can read: all but the built-in one."""
    return font.packed_file is not None or font.filepath != BUILT_IN


def draw(column: Any, group: Any, name: str, path: str) -> None:
    """Draw the font's name with a button for files, and the fonts of this file if it has any."""
    block = getattr(group, f"{name}_block")
    row = column.row(align=True)
    row.active = block is None
    row.prop(group, name, placeholder=group.bl_rna.properties[name].default)
    button = row.operator("medalwright.choose_font", text="", icon="FILE_FOLDER")
    button.path = f"{path}.{name}"
    if block is not None or any(has_file(group, font) for font in bpy.data.fonts):
        column.prop(group, f"{name}_block", text="")


def text_of(group: Any, name: str) -> str:
    """Return what the spec says for a font: the file of a picked one, else what was typed.

    Nothing typed is nothing: what the font then is, is the key's matter.
    """
    block = getattr(group, f"{name}_block")
    if block is not None and has_file(group, block):
        return file_of(block)
    text: str = getattr(group, name).strip()
    return bpy.path.abspath(text) if text.startswith("//") else text


def file_of(font: bpy.types.VectorFont) -> str:
    """Return the path of a font's file; a packed one is written to our cache folder.

    Its name there tells its content, so that the core sees when it changes.
    """
    if font.packed_file is None:
        return bpy.path.abspath(font.filepath, library=font.library)
    data = bytes(font.packed_file.data)
    name = hashlib.sha256(data).hexdigest()[:24] + _SUFFIXES.get(data[:4], ".ttf")
    file = _cache() / name
    if not file.exists():
        part = file.with_suffix(".part")
        part.write_bytes(data)
        part.replace(file)
    return str(file)


def _cache() -> Path:
    """Return a folder we may write to: the extension's, or the session's if it is none."""
    try:
        return Path(bpy.utils.extension_path_user(PACKAGE, path="cache", create=True))
    except ValueError:  # loaded from somewhere else than an extension repository
        return Path(bpy.app.tempdir)
