"""SVG files as they are found: what is shown in them, within what can be worked in seconds.

A few hundred bytes can ask for millions of shapes (uses of uses, entities of entities), so a
file is counted before it is drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

from ..errors import SourceError
from ..system.file_access import why_unreadable

_SHAPES = 5_000
"""Shapes that a drawing may show, uses counted each time; a detailed crest has some hundreds."""

_LETTERS = 4_000_000
"""Characters of path data that it may show, counted likewise; a detailed map has a million."""

_DEEP = 60
"""Uses of uses, and groups in groups."""

_DRAWN = frozenset("path rect circle ellipse line polyline polygon".split())
_LINK = "{http://www.w3.org/1999/xlink}href"


def shown_elements(path: str) -> Iterator[tuple[Any, Any]]:
    """Yield the elements of a file that are not hidden, and their attributes.

    Raises
    ------
    SourceError
        If the file cannot be read, or holds more than can be drawn.
    """
    import svgelements as svg

    if reason := why_unreadable(path):
        raise SourceError(f"{path}: {reason}")
    try:
        _count(ElementTree.parse(path).getroot(), path)
        drawing = svg.SVG.parse(path, reify=False)
    except SourceError:
        raise
    except Exception as error:  # any parser error means the same to a person
        reason = " ".join(str(error).split()) or type(error).__name__
        raise SourceError(f"{path} cannot be read as SVG ({reason[:120]})") from None
    if not isinstance(drawing, svg.SVG):
        raise SourceError(f"{path} cannot be read as SVG (it holds something else)")
    for element in drawing.elements():
        values = getattr(element, "values", None) or {}
        if values.get("visibility") != "hidden" and values.get("display") != "none":
            yield element, values


def _count(root: ElementTree.Element, path: str) -> None:
    """Refuse a file that shows more than can be drawn.

    Raises
    ------
    SourceError
    """
    named = {e.get("id"): e for e in root.iter() if e.get("id")}
    known: dict[ElementTree.Element, tuple[int, int]] = {}

    def size(element: ElementTree.Element, deep: int) -> tuple[int, int]:
        """Return how many shapes an element shows, and characters of path data."""
        if element in known:
            return known[element]
        if deep > _DEEP:
            raise SourceError(
                f"{path} holds groups or uses more than {_DEEP} deep, or one that uses itself; "
                "save it as plain paths"
            )
        tag = str(element.tag).rpartition("}")[2]
        shapes = int(tag in _DRAWN)
        letters = len(element.get("d", "")) + len(element.get("points", ""))
        inner = list(element)
        if tag == "use":
            link = element.get("href") or element.get(_LINK) or ""
            inner += [named[link[1:]]] if link[1:] in named else []
        for child in inner:
            more = size(child, deep + 1)
            shapes, letters = shapes + more[0], letters + more[1]
        known[element] = shapes, letters
        return known[element]

    shapes, letters = size(root, 0)
    for count, most, what in (
        (shapes, _SHAPES, "shapes"),
        (letters, _LETTERS, "characters of path data"),
    ):
        if count > most:
            raise SourceError(
                f"{path} shows {count:,} {what}; at most {most:,} can be worked: leave fine "
                "detail out, or unite shapes"
            )


def number_of(text: object, otherwise: float, least: float = -math.inf) -> tuple[float, bool]:
    """Read a number or a percentage; return it, and whether it is one (SVG 2, 4.2).

    Parameters
    ----------
    text : object
        The attribute's value; None where it is not given.
    otherwise : float
        What counts where it is not given or no finite number of at least `least`.
    """
    if text is None or not str(text).strip():
        return otherwise, True
    told = str(text).strip()
    try:
        value = float(told[:-1]) / 100.0 if told.endswith("%") else float(told)
    except ValueError:
        return otherwise, False
    good = math.isfinite(value) and value >= least
    return (value, True) if good else (otherwise, False)
