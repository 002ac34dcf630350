# SPDX-License-Identifier: GPL-3.0-or-later
"""Lay a wheel's contents as pip would install them, for installers that only unpack.

A wheel may keep files for the site-packages folder in ``NAME-VERSION.data/platlib`` or
``purelib`` (Python Packaging User Guide, "Binary distribution format": "Spread"); Windows
wheels keep their C++ runtime there. Blender 4.2 and 4.3 unpack wheels as they are, so such a
library would not lie beside the module that loads it.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from pathlib import Path

_MOVED = re.compile(r"[^/]+\.data/(?:plat|pure)lib/")


def flattened(wheel: Path, time: tuple[int, int, int, int, int, int]) -> bytes | None:
    """Return a wheel with its ``platlib`` and ``purelib`` files at its root.

    Parameters
    ----------
    wheel : Path
        The wheel as it was published.
    time : tuple of int
        Time of change stated for every member, so that the same wheel gives the same bytes.

    Returns
    -------
    bytes or None
        None where nothing has to be moved: the wheel can be used as it is.

    Raises
    ------
    ValueError
        If a moved file would take the place of another.
    """
    with zipfile.ZipFile(wheel) as source:
        files = [member for member in source.infolist() if not member.is_dir()]
        if not any(_MOVED.match(member.filename) for member in files):
            return None
        names = [_MOVED.sub("", member.filename, count=1) for member in files]
        if twice := sorted({name for name in names if names.count(name) > 1}):
            raise ValueError(f"{wheel.name} holds {twice[0]} at two places that are one")
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w") as target:
            for member, name in zip(files, names, strict=True):
                info = zipfile.ZipInfo(name, time)
                info.compress_type = member.compress_type
                info.external_attr = member.external_attr
                info.create_system = member.create_system
                content = source.read(member)
                target.writestr(info, _record(content) if _is_record(name) else content)
        return made.getvalue()


def _is_record(name: str) -> bool:
    return name.count("/") == 1 and name.endswith(".dist-info/RECORD")


def _record(content: bytes) -> bytes:
    """Return the list of files with their new places; hashes and sizes stay as they are."""
    rows = csv.reader(io.StringIO(content.decode("utf-8"), newline=""))
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(
        [_MOVED.sub("", row[0], count=1), *row[1:]] for row in rows if row
    )
    return text.getvalue().encode("utf-8")
