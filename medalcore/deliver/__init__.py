"""Write the files of a finished piece, all of them or none."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..context.element import Progress
from ..context.medal import Medal
from ..errors import DeliveryError
from ..render.cast import Side
from ..render.picture import picture, png_bytes, standing
from ..spec import Identity
from .depth import depth_bytes
from .files import refuse_existing, refuse_unwritable, tidy_up, write_files
from .glb import glb_bytes
from .obj import mtl_bytes, obj_bytes
from .png import write_png
from .report import report_bytes
from .stl import stl_bytes
from .threemf import threemf_bytes

__all__ = [
    "ALSO",
    "check_free",
    "deliver",
    "file_names",
    "picture",
    "standing",
    "write_files",
    "write_png",
]


@dataclass(frozen=True)
class _File:
    """A file: its name, from the piece's slug, and what makes its bytes from piece and size."""

    name: str
    make: Callable[[Medal, int, str], bytes]


def _face(medal: Medal, side: Side, size: int) -> bytes:
    return png_bytes(picture(medal, side, size=size), _titled(medal, side))


def _titled(medal: Medal, what: str) -> str:
    """Return the title of a picture: the piece, what is seen of it, and its size."""
    return ", ".join(filter(None, (medal.name, what, str(medal.report.get("size", "")))))


_ALWAYS = (
    _File("{}.stl", lambda medal, size, slug: stl_bytes(medal)),
    _File("{}.3mf", lambda medal, size, slug: threemf_bytes(medal)),
    _File("{}.report.json", lambda medal, size, slug: report_bytes(medal)),
    _File("obverse.png", lambda medal, size, slug: _face(medal, "obverse", size)),
    _File("reverse.png", lambda medal, size, slug: _face(medal, "reverse", size)),
)
ALSO: Mapping[str, tuple[_File, ...]] = {
    "obj": (
        _File("{}.obj", lambda medal, size, slug: obj_bytes(medal, f"{slug}.mtl")),
        _File("{}.mtl", lambda medal, size, slug: mtl_bytes(medal)),
    ),
    "glb": (_File("{}.glb", lambda medal, size, slug: glb_bytes(medal)),),
    "depth": (
        _File("obverse.depth.png", lambda medal, size, slug: depth_bytes(medal, "obverse")),
        _File("reverse.depth.png", lambda medal, size, slug: depth_bytes(medal, "reverse")),
    ),
    "standing": (
        _File(
            "standing.png",
            lambda medal, size, slug: png_bytes(
                standing(medal, size=(round(size * 10 / 7), round(size * 6 / 7))),
                _titled(medal, "both faces"),
            ),
        ),
    ),
}
"""What can be had besides the usual files: OBJ, GLB, depth pictures, both faces in one picture."""


def _files(also: Sequence[str]) -> tuple[_File, ...]:
    for kind in also:
        if kind not in ALSO:
            near = difflib.get_close_matches(kind, ALSO, 1)
            hint = f"did you mean '{near[0]}'? " if near else ""
            raise DeliveryError(f"'{kind}' is no kind of file; {hint}there are: {', '.join(ALSO)}")
    return (*_ALWAYS, *(file for kind in ALSO if kind in also for file in ALSO[kind]))


def file_names(slug: str, also: Sequence[str] = ()) -> tuple[str, ...]:
    """Return the names of the files a piece is delivered as.

    Raises
    ------
    DeliveryError
        If `also` holds what is not in `ALSO`.
    """
    return tuple(file.name.format(slug) for file in _files(also))


def check_free(
    slug: str, folder: Path, *, overwrite: bool = False, also: Sequence[str] = ()
) -> None:
    """Make sure before the work that `folder` can be written to and nothing would be replaced.

    Raises
    ------
    DeliveryError
        Naming the files that are there already, or what cannot be written.
    """
    paths = [folder / name for name in file_names(slug, also)]
    tidy_up(paths)
    refuse_existing(paths, overwrite=overwrite)
    refuse_unwritable(paths)


def _refuse_faulty(medal: Medal) -> None:
    """Refuse a piece with errors: it can be looked at, but nobody should cut metal by its files."""
    wrong = [f for f in medal.findings if f.severity == "error"]
    if not wrong:
        return
    first = f"{wrong[0].where}: {wrong[0].message}"
    more = ", ".join(dict.fromkeys(f.where for f in wrong[1:]))
    raise DeliveryError(f"{first}; errors too in {more}" if more else first)


def deliver(
    medal: Medal,
    folder: Path,
    *,
    overwrite: bool = False,
    size: int = 1400,
    also: Sequence[str] = (),
    progress: Progress | None = None,
) -> tuple[Path, ...]:
    """Write STL, 3MF, report and both pictures into a folder: all of them or none.

    Parameters
    ----------
    medal : Medal
    folder : Path
        Made if it is missing.
    overwrite : bool
        Whether files that are there may be replaced.
    size : int
        Width and height of the pictures, pixels.
    also : sequence of str
        Further kinds of files, see `ALSO`.
    progress : callable, optional
        See `Progress`.

    Returns
    -------
    paths : tuple of Path

    Raises
    ------
    DeliveryError
        If the piece has findings of severity error, files are in the way or cannot be written;
        nothing is left behind.
    """
    _refuse_faulty(medal)
    tell: Progress = progress or (lambda fraction, label: None)
    folder = Path(folder)
    slug = str(medal.report.get("slug") or Identity(name=medal.name).slug)
    files = _files(also)
    names = file_names(slug, also)
    refuse_existing([folder / name for name in names], overwrite=overwrite)
    contents = {}
    for i, (file, name) in enumerate(zip(files, names, strict=True)):
        tell(i / (len(files) + 1), f"file {name}")
        contents[folder / name] = file.make(medal, size, slug)
    tell(len(files) / (len(files) + 1), "writing the files")
    written = write_files(contents, overwrite=overwrite)
    tell(1.0, "written")
    return written
