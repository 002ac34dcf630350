"""Write the files of a finished piece: solid, report and pictures, all or none."""

from __future__ import annotations

from pathlib import Path

from ..element import Progress
from ..medal import Medal
from ..spec import Identity
from .files import refuse_existing, write_files
from .report import report_bytes
from .stl import stl_bytes
from .threemf import threemf_bytes

__all__ = ["check_free", "deliver", "file_names", "write_files"]


def file_names(slug: str) -> tuple[str, ...]:
    """Return the names of the files a piece is delivered as."""
    return (f"{slug}.stl", f"{slug}.3mf", f"{slug}.report.json", "obverse.png", "reverse.png")


def check_free(slug: str, folder: Path, *, overwrite: bool = False) -> None:
    """Make sure before the work that delivering into `folder` would replace nothing.

    Raises
    ------
    DeliveryError
        Naming the files that are there already.
    """
    refuse_existing([folder / name for name in file_names(slug)], overwrite=overwrite)


def deliver(
    medal: Medal,
    folder: Path,
    *,
    overwrite: bool = False,
    size: int = 1400,
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
    progress : callable, optional
        See `Progress`.

    Returns
    -------
    paths : tuple of Path

    Raises
    ------
    DeliveryError
        If files are in the way or cannot be written; nothing is left behind.
    """
    tell: Progress = progress or (lambda fraction, label: None)
    folder = Path(folder)
    slug = str(medal.report.get("slug") or Identity(name=medal.name).slug)
    paths = [folder / name for name in file_names(slug)]
    refuse_existing(paths, overwrite=overwrite)
    tell(0.0, "STL")
    contents = [stl_bytes(medal)]
    tell(0.05, "3MF")
    contents.append(threemf_bytes(medal))
    contents.append(report_bytes(medal))
    from .picture import picture, png_bytes

    tell(0.3, "picture of the obverse")
    contents.append(png_bytes(picture(medal, "obverse", size=size)))
    tell(0.65, "picture of the reverse")
    contents.append(png_bytes(picture(medal, "reverse", size=size)))
    tell(0.97, "writing")
    written = write_files(dict(zip(paths, contents, strict=True)), overwrite=overwrite)
    tell(1.0, "written")
    return written
