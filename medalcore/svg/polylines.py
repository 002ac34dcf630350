"""The paths of a drawing as lines of points."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from ..geometry.contour import cubic, quadratic
from ..geometry.types import FloatArray

Line = tuple[FloatArray, bool]
"""Points, (n, 2), and whether they are closed."""


def polylines(path: Any, tolerance: float) -> Iterator[Line]:
    """Yield the polylines of a path, and whether each is closed."""
    import svgelements as svg

    points: list[FloatArray] = []
    for part in path:
        if isinstance(part, svg.Move):
            if len(points) > 1:
                yield np.vstack(points), False
            points = [_point(part.end)]
        elif isinstance(part, svg.Close):
            if points:
                yield np.vstack(points), True
                points = [points[0]]
        else:
            if not points:
                points = [_point(part.start)]
            points += _curve(points[-1][-1], part, tolerance)
    if len(points) > 1:
        yield np.vstack(points), False


def _curve(start: FloatArray, part: Any, tolerance: float) -> list[FloatArray]:
    import svgelements as svg

    if isinstance(part, svg.QuadraticBezier):
        control, end = _point(part.control)[0], _point(part.end)[0]
        return [quadratic(start, control, end, tolerance)]
    if isinstance(part, svg.CubicBezier):
        first, second, end = (_point(p)[0] for p in (part.control1, part.control2, part.end))
        return [cubic(start, first, second, end, tolerance)]
    if isinstance(part, svg.Arc):
        # an eighth of a turn as a cubic deviates by less than 1e-6 of the radius
        count = max(1, int(np.ceil(abs(part.sweep) / (np.pi / 4.0))))
        made = []
        for piece in part.as_cubic_curves(count):
            made += _curve(start, piece, tolerance)
            start = made[-1][-1]
        return made
    return [_point(part.end)] if part.end is not None else []


def _point(p: Any) -> FloatArray:
    return np.array([(float(p.x), float(p.y))])
