"""Finding a font: by file, by short name, among font packages, among installed fonts.

``serif-bold`` and its like are short names for the two families that come as dependencies.
Packages offer fonts through the entry points ``fonts_ttf`` and ``fonts_otf``.
"""

from __future__ import annotations

import contextlib
import difflib
import os
import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from importlib.metadata import entry_points
from pathlib import Path

import uharfbuzz as hb

from ...errors import SourceError, shortened
from ...system.file_access import why_unreadable
from .typeface import Typeface, names_of, open_typeface

SUFFIXES = (".ttf", ".otf", ".ttc", ".otc")
_SHORT = {"serif": "Source Serif Pro", "sans": "Source Sans Pro"}
_REGISTERED = r"SOFTWARE\Microsoft\Windows NT\CurrentVersion\Fonts"
_PLAIN_STYLES = ("", "regular", "roman", "book", "normal", "medium")


def find_typeface(font: str, axes: Mapping[str, float] | None = None) -> Typeface:
    """Return the typeface a spec asks for.

    Parameters
    ----------
    font : str
        A file (``face.ttf``, ``faces.ttc#2``), a short name (``serif-bold``, ``sans``,
        ``serif-semibold-italic``), or a family with an optional style (``DejaVu Serif
        Bold``).
    axes : mapping, optional
        Places on a variable font's axes, by tag or name.

    Raises
    ------
    SourceError
        One line with the near matches if there is no such font.
    """
    file, index = locate(font, axes or ())
    return open_typeface(file, index, axes)


def locate(font: str, axes: Iterable[str] = ()) -> tuple[Path, int]:
    """Return the file of a font and which face of it; the file may turn out not to be there.

    Parameters
    ----------
    font : str
        See `find_typeface`.
    axes : iterable of str, optional
        Axes by tag or name: among faces of the same name one that has them is taken.

    Raises
    ------
    SourceError
        See `find_typeface`.
    """
    path, _, number = font.rpartition("#")
    if path.lower().endswith(SUFFIXES):
        if not re.fullmatch("[0-9]{1,5}", number):
            raise SourceError(f"font {font}: give the face's number in the file after the #")
        return Path(os.path.expanduser(path)), int(number)
    if font.lower().endswith(SUFFIXES):
        return Path(os.path.expanduser(font)), 0
    return _find(font, frozenset(axis.lower() for axis in axes))


def _find(font: str, axes: frozenset[str]) -> tuple[Path, int]:
    head, _, style = font.partition("-")
    wanted = _plain(f"{_SHORT[head.lower()]}{style}" if head.lower() in _SHORT else font)
    packaged = _packaged()
    if not axes and wanted in (found := _faces(packaged, axes)):
        return found[wanted]
    files = tuple(_installed())
    # Files are mostly called after their family: read those first, the rest only if needed.
    likely = tuple(f for f in files if _plain(f.stem)[:4] == wanted[:4])
    for least in dict.fromkeys((axes, frozenset[str]())):
        for some in (packaged, likely, files):
            found = _faces(some, least)
            if wanted in found:
                return found[wanted]
    known = {_plain(name): name for file in (*packaged, *files) for name in _family_names(file)}
    near = difflib.get_close_matches(wanted[:100], sorted(known), 5, 0.6)
    near += [key for key in sorted(known) if wanted and wanted in key and key not in near]
    hint = f"; near it: {', '.join(known[key] for key in near[:5])}" if near else ""
    raise SourceError(
        f"font '{shortened(font)}' is neither a file nor an installed family{hint}; "
        "serif, serif-bold, sans and sans-bold are always there"
    )


def _plain(name: str) -> str:
    """Return a name as it is compared: small letters and digits, italic spelt one way."""
    text = re.sub(r"[^0-9a-z\u0080-\uffff]", "", name.lower())
    text = text.replace("oblique", "italic")
    return re.sub(r"it$", "italic", text)


def _family_names(file: Path) -> list[str]:
    """Return families, and families with their styles, as people read them."""
    names = ((family, f"{family} {style}".strip()) for family, style, _, _ in _names(file))
    return [name for pair in names for name in pair]


@lru_cache(maxsize=8)
def _faces(files: tuple[Path, ...], axes: frozenset[str]) -> Mapping[str, tuple[Path, int]]:
    """Return where the faces with these axes are, by every plain name a person may use."""
    found: dict[str, tuple[Path, int]] = {}
    faces = [
        (file, index, family, style, full)
        for file in files
        for index, (family, style, full, has) in enumerate(_names(file))
        if axes <= has
    ]
    for file, index, family, style, _ in faces:
        found.setdefault(_plain(f"{family} {style}"), (file, index))
        if _plain(style) in _PLAIN_STYLES[:5]:
            found.setdefault(_plain(family), (file, index))
    # Full names come after: of variable fonts they may leave an italic style out.
    for file, index, family, _, full in faces:
        found.setdefault(_plain(full), (file, index))
        found.setdefault(_plain(family), (file, index))  # also without a regular style
    return found


@lru_cache(maxsize=4096)
def _names(file: Path) -> tuple[tuple[str, str, str, frozenset[str]], ...]:
    """Return family, style, full name and axes (by tag and by name) of every face in a file.

    Nothing if it is no font.
    """
    if why_unreadable(file):
        return ()
    try:
        blob = hb.Blob.from_file_path(str(file))
        count = int(hb.Face(blob, 0).count)
        faces = [hb.Face(blob, i) for i in range(count)]
        return tuple((*names_of(f), str(f.get_name(4) or ""), _axes_of(f)) for f in faces)
    except (OSError, UnicodeDecodeError, hb.HarfBuzzError):
        return ()


def _axes_of(face: hb.Face) -> frozenset[str]:
    names = (name for i in face.axis_infos for name in (i.tag, face.get_name(i.name_id) or ""))
    return frozenset(str(name).lower() for name in names)


@lru_cache(maxsize=1)
def _packaged() -> tuple[Path, ...]:
    """Return the font files that installed packages offer."""
    found: set[Path] = set()
    for group in ("fonts_otf", "fonts_ttf"):
        for point in entry_points(group=group):
            try:
                offered = point.load()
            except Exception:  # a broken package of another's must not stop the build
                continue
            pairs = offered.items() if isinstance(offered, Mapping) else offered
            found.update(Path(str(path)) for _, path in pairs)
    return tuple(sorted(found))


def _installed() -> Iterator[Path]:
    """Yield the font files of the system's and the user's folders, in a fixed order."""
    own = [Path(home) for home in (os.path.expanduser("~"),) if home != "~"]  # some have none
    folders: list[Path]
    if sys.platform == "win32":
        folders = [Path(os.environ.get("WINDIR", r"C:\Windows")) / "Fonts"]
        local = os.environ.get("LOCALAPPDATA")
        folders += [Path(local) / "Microsoft" / "Windows" / "Fonts"] if local else []
    elif sys.platform == "darwin":
        folders = [Path("/System/Library/Fonts"), Path("/Library/Fonts")]
        folders += [home / "Library/Fonts" for home in own]
        fetched = Path("/System/Library/AssetsV2")  # where the system keeps fonts got on demand
        folders += sorted(fetched.glob("com_apple_MobileAsset_Font*"))
    else:
        data = os.environ.get("XDG_DATA_DIRS") or "/usr/local/share:/usr/share"
        folders = [Path(p) / "fonts" for p in data.split(":")]
        given = os.environ.get("XDG_DATA_HOME")
        folders += [Path(given) / "fonts"] if given else [h / ".local/share/fonts" for h in own]
        folders += [home / ".fonts" for home in own]
    for folder in folders:
        if os.path.isdir(folder):
            yield from sorted(f for f in folder.rglob("*") if f.suffix.lower() in SUFFIXES)
    if sys.platform == "win32":
        yield from _registered()


if sys.platform == "win32":

    def _registered() -> Iterator[Path]:
        """Yield the fonts that Windows uses from other folders than its own."""
        import winreg

        for root in (winreg.HKEY_LOCAL_MACHINE, winreg.HKEY_CURRENT_USER):
            with contextlib.suppress(OSError), winreg.OpenKey(root, _REGISTERED) as key:
                for i in range(winreg.QueryInfoKey(key)[1]):
                    file = Path(str(winreg.EnumValue(key, i)[1]))
                    if file.is_absolute() and file.suffix.lower() in SUFFIXES:
                        yield file
