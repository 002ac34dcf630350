"""SVG drawings as flat areas of colour, as they are seen when painted one over the other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..errors import SourceError
from ..geometry.bodies import empty_section, mitred, united_sections
from ..geometry.contour import (
    Contours,
    Fill,
    area,
    bounds,
    cleaned,
    contours_of,
    moved,
    section,
)
from ..geometry.types import FloatArray
from .polylines import polylines
from .stroke import Pen, stroked
from .svg_file import number_of, shown_elements


@dataclass(frozen=True, eq=False)
class Colour:
    """What is seen of one colour.

    Attributes
    ----------
    name : str
        ``#rrggbb``.
    contours : tuple of (n, 2) float64
        Clean outlines, mm; those of different colours do not overlap.
    """

    name: str
    contours: Contours

    @property
    def lightness(self) -> float:
        """Return CIE 1976 lightness L* of the sRGB colour, 0 black to 1 white.

        Luminance by IEC 61966-2-1, lightness by ISO/CIE 11664-4.
        """
        code = np.array([int(self.name[k : k + 2], 16) for k in (1, 3, 5)]) / 255.0
        linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
        y = float(linear @ (0.2126, 0.7152, 0.0722))
        return 1.16 * y ** (1.0 / 3.0) - 0.16 if y > 0.008856 else 9.033 * y


@dataclass(frozen=True, eq=False)
class Drawing:
    """A drawing as it lies on a face, its middle at the origin.

    Attributes
    ----------
    colours : tuple of Colour
        In the order in which they first appear.
    left_out : tuple of str
        What the file holds that is not drawn, one phrase each.
    tolerance : float
        Largest distance between curves and their chords, mm.
    """

    colours: tuple[Colour, ...]
    left_out: tuple[str, ...]
    tolerance: float

    @property
    def contours(self) -> Contours:
        """Return everything that is painted, whatever its colour."""
        return self.merged(self.colours)

    def merged(self, colours: Sequence[Colour]) -> Contours:
        """Return several colours as one area, without the hair between neighbours.

        Each colour's outline is true to the tolerance by itself, so two that meet may be
        twice that apart: growing and shrinking by it closes them.
        """
        if len(colours) == 1:
            return colours[0].contours
        t = 2.0 * self.tolerance
        parts = [section(c.contours) for c in colours]
        whole = united_sections(parts)
        grown = mitred(mitred(whole, t), -t)
        return contours_of(grown, self.tolerance / 4.0)


def read_drawing(
    path: str, fit: float, tolerance: float, bare: frozenset[str], *, upright: bool = False
) -> Drawing:
    """Read an SVG file.

    Parameters
    ----------
    path : str
    fit : float
        Larger side of what is painted, or its height if `upright`, mm.
    tolerance : float
        Largest distance between curves and their chords, mm.
    bare : frozenset of str
        Colours, as ``#rrggbb``, that cover what lies under them and stay bare themselves.
    upright : bool
        See `fit`.

    Raises
    ------
    SourceError
        If the file cannot be read or nothing in it leaves a mark.
    """
    marks, left_out = _marks(path)
    marks = _brought_near(marks, path)
    seen, scale = _painted(marks, None, bare), 1.0
    for _ in range(2):  # the first look is rough and gives the scale for the second
        if not seen:
            raise SourceError(f"{path}: nothing in it leaves a mark{_because(left_out)}")
        low, high = bounds(tuple(c for contours in seen.values() for c in contours))
        side = high[1] - low[1] if upright else float(np.max(high - low))
        scale = fit / side
        middle = (low + high) / 2.0
        seen = _painted(marks, tolerance / scale, bare)
    low, high = bounds(tuple(c for contours in seen.values() for c in contours))
    side = high[1] - low[1] if upright else float(np.max(high - low))
    scale, middle = fit / side, (low + high) / 2.0
    place = np.column_stack([np.diag([scale, -scale]), -middle * (scale, -scale)])
    colours = tuple(
        Colour(name, cleaned(moved(c, place), "nonzero", tolerance / 2.0))
        for name, c in seen.items()
    )
    return Drawing(tuple(c for c in colours if c.contours), left_out, tolerance)


_FARTHEST = 1e9
"""Units; outlines are looked at as they are drawn, and plane sections end at 4e10."""

_SIDE = 100.0
"""Larger side of what is drawn, in the units that drawings are worked in."""

_BROADEST = 1e6
"""Width of a stroke in these units: far wider than the drawing, far below where plane sections
end (2^62 of their steps of 1e-8)."""


def _brought_near(marks: list[_Mark], path: str) -> list[_Mark]:
    """Return marks scaled and moved to a box of one size about the origin.

    Raises
    ------
    SourceError
        If a place is no finite number, or a stroke is absurdly wide.
    """
    if not marks:
        return marks
    with np.errstate(over="ignore", invalid="ignore"):
        box = _box(marks)
        size = float(np.ptp(box, axis=0).max())
    if not np.isfinite(box).all() or not np.isfinite(size):
        raise SourceError(f"{path} holds places that are no numbers, or too far away to be drawn")
    scale = _SIDE / size if size > 0.0 else 1.0
    middle = box.mean(axis=0)
    made = []
    for mark in marks:
        matrix = np.column_stack([mark.matrix[:, :2] * scale, (mark.matrix[:, 2] - middle) * scale])
        if mark.pen and mark.pen.width * _stretch(matrix) > _BROADEST:
            raise SourceError(
                f"{path} holds a stroke {mark.pen.width:g} wide, far wider than the whole drawing"
            )
        made.append(replace(mark, matrix=matrix))
    return made


def _because(left_out: tuple[str, ...]) -> str:
    return f"; left out: {', '.join(left_out)}" if left_out else ""


@dataclass(frozen=True, eq=False)
class _Mark:
    """One fill or one stroke, in its own coordinates."""

    colour: str
    path: Any
    matrix: FloatArray
    fill: Fill | None
    pen: Pen | None

    def contours(self, tolerance: float) -> Contours:
        """Return the area it covers in the drawing's coordinates."""
        stretch = _stretch(self.matrix)  # taken out first: plane sections have a fixed grid
        lines = tuple((p * stretch, done) for p, done in polylines(self.path, tolerance / stretch))
        if self.pen is not None:
            pen = replace(self.pen, width=self.pen.width * stretch)
            made = stroked(lines, pen, tolerance, tolerance / 4.0)
        else:
            filled = tuple(p for p, _ in lines if len(p) > 2)
            made = cleaned(filled, self.fill or "nonzero", tolerance / 4.0) if filled else ()
        rest = np.column_stack([self.matrix[:, :2] / stretch, self.matrix[:, 2]])
        return moved(made, rest) if made else ()


def shapes_of(path: str, tolerance: float) -> Contours:
    """Return the outlines of all shapes of an SVG file, painted or not, as they are drawn.

    Parameters
    ----------
    tolerance : float
        Largest distance between curves and their chords, in the drawing's units.

    Returns
    -------
    contours : tuple of (n, 2) float64
        In the drawing's units and its coordinates (y down); open lines are closed.

    Raises
    ------
    SourceError
        If the file cannot be read.
    """
    import svgelements as svg

    found: list[FloatArray] = []
    for element, _ in shown_elements(path):
        if isinstance(element, svg.Shape):
            bare, matrix = _untransformed(element)
            if not np.abs(_box([_Mark("", bare, matrix, None, None)])).max() < _FARTHEST:
                raise SourceError(
                    f"{path} holds places that are no numbers, or too far away to be drawn"
                )
            lines = polylines(bare, tolerance / _stretch(matrix))
            found += moved(tuple(_distinct(points) for points, _ in lines), matrix)
    return tuple(points for points in found if len(points) > 2)


def _distinct(points: FloatArray) -> FloatArray:
    """Return a closed line without points that repeat the one before."""
    return points[np.any(points != np.roll(points, 1, axis=0), axis=1)]


def _marks(path: str) -> tuple[list[_Mark], tuple[str, ...]]:
    """Return all fills and strokes in painting order, and what is left out."""
    import svgelements as svg

    marks: list[_Mark] = []
    left: Counter[str] = Counter()
    for element, values in shown_elements(path):
        if isinstance(element, svg.Text):
            left["text (turn it into paths)"] += 1
        elif isinstance(element, svg.Image):
            left["picture"] += 1
        elif isinstance(element, svg.Shape):
            marks += _of_shape(element, values, left)
    return marks, tuple(f"{n} {what}" for what, n in left.items())


def _untransformed(shape: Any) -> tuple[Any, FloatArray]:
    """Return a shape's path in its own coordinates, and its (2, 3) transform."""
    import svgelements as svg

    t = shape.transform
    path = svg.Path(shape)
    path.transform = svg.Matrix()
    return path, np.array([(t.a, t.c, t.e), (t.b, t.d, t.f)], dtype=np.float64)


def _stretch(matrix: FloatArray) -> float:
    """Return by how much a transform enlarges at most."""
    return float(np.linalg.norm(matrix[:, :2], 2)) or 1.0


def _of_shape(shape: Any, values: Any, left: Counter[str]) -> Iterator[_Mark]:
    opacity, plain = number_of(values.get("opacity"), 1.0)
    if opacity <= 0.0:
        return
    if not plain:
        left[f'opacity "{str(values.get("opacity"))[:20]}" (taken as solid)'] += 1
    elif opacity < 1.0:
        left["translucency (taken as solid)"] += 1
    if str(values.get("clip-path", "none")) != "none" or str(values.get("mask", "none")) != "none":
        left["clip path or mask (taken whole)"] += 1
    path, matrix = _untransformed(shape)
    for kind, paint in (("fill", shape.fill), ("stroke", shape.stroke)):
        if str(values.get(kind, "")).strip().startswith("url("):
            left[f"{kind} by gradient or pattern"] += 1
            continue
        if paint is None or paint.value is None or not paint.alpha:
            continue
        if paint.alpha < 255:
            left["translucency (taken as solid)"] += 1
        colour = f"#{paint.red:02x}{paint.green:02x}{paint.blue:02x}"
        if kind == "fill":
            rule: Fill = "evenodd" if values.get("fill-rule") == "evenodd" else "nonzero"
            yield _Mark(colour, path, matrix, rule, None)
        elif shape.stroke_width:
            if str(values.get("stroke-dasharray", "none")) != "none":
                left["dashes (drawn as full lines)"] += 1
            limit, plain = number_of(values.get("stroke-miterlimit"), 4.0, 1.0)
            if not plain:
                told = str(values.get("stroke-miterlimit"))[:20]
                left[f'mitre limit "{told}" (taken as 4)'] += 1
            pen = Pen(
                abs(float(shape.stroke_width)),
                values.get("stroke-linecap", "butt"),
                values.get("stroke-linejoin", "miter"),
                limit,
            )
            yield _Mark(colour, path, matrix, None, pen)


def _painted(
    marks: list[_Mark], tolerance: float | None, bare: frozenset[str]
) -> dict[str, Contours]:
    """Return what is seen of every colour, without the bare ones."""
    near = tolerance or 1e-3 * _SIDE
    groups: list[tuple[str, list[Contours]]] = []
    for mark in marks:
        contours = mark.contours(near)
        if not contours:
            continue
        if not groups or groups[-1][0] != mark.colour:
            groups.append((mark.colour, []))
        groups[-1][1].append(contours)
    over = empty_section()
    seen: dict[str, list[Contours]] = {colour: [] for colour, _ in groups}
    for colour, parts in reversed(groups):  # from the top downwards
        whole = section(_union(parts))
        seen[colour].append(contours_of(whole - over, near / 4.0))
        over = over + whole
    joined = {c: _union(parts) for c, parts in seen.items() if c not in bare}
    return {c: contours for c, contours in joined.items() if contours and area(contours) > 0.0}


def _union(parts: list[Contours]) -> Contours:
    filled = [section(p) for p in parts if p]
    return contours_of(united_sections(filled)) if filled else ()


def _box(marks: list[_Mark]) -> FloatArray:
    """Return about where the lines of a drawing lie, its lower and upper corner, (2, 2)."""
    corners = [np.zeros((0, 2))]
    for mark in marks:
        box = mark.path.bbox()
        if box is not None:
            x0, y0, x1, y1 = box
            square = np.array([(x0, y0, 1), (x1, y0, 1), (x1, y1, 1), (x0, y1, 1)], dtype=float)
            with np.errstate(over="ignore", invalid="ignore"):
                corners.append(square @ mark.matrix.T)
    every = np.vstack(corners)
    return np.array([every.min(axis=0), every.max(axis=0)]) if len(every) else np.zeros((2, 2))
