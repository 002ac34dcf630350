"""A free outline from an SVG drawing."""

from __future__ import annotations

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SourceError, SpecError
from ...geometry.contour import Contours, bounds, contours_of, inside, section, signed_area
from ...geometry.types import FloatArray
from ...svg.drawing import shapes_of


def read_drawing(
    path: str, side: float, tolerance: Tolerance, key: str = "blank.drawing"
) -> Contours:
    """Read the outline of a piece from the closed paths of an SVG file.

    The largest path is the outline; paths inside it are holes. The drawing is scaled to its
    larger side and centred by the middle of its bounding box.

    Parameters
    ----------
    side : float
        Larger side of the outline as drawn, mm.
    key : str
        Spec path that names the file, for errors.

    Returns
    -------
    contours : tuple of (n, 2) float64
        The outline counter-clockwise, holes clockwise, mm.

    Raises
    ------
    SourceError
        If the file cannot be read or holds no closed path.
    SpecError
        If the outline crosses itself, or there are several outlines.
    """
    rough = _paths(path, 1e-3, key)
    if not rough:
        raise SourceError(f"{key}: {path} holds no closed path to take the outline from")
    largest = max(rough, key=lambda c: abs(signed_area(c)))
    scale = side / float(np.ptp(largest, axis=0).max())
    fine = _paths(path, tolerance.curve / scale, key)
    contours = [c * (scale, -scale) for c in fine]  # SVG's y runs down
    contours.sort(key=lambda c: -abs(signed_area(c)))
    for contour in contours:
        _refuse_crossing(contour, path, key)
    outer = contours[0]
    holes = [c for c in contours[1:] if inside((outer,), c).all()]
    if len(holes) < len(contours) - 1:
        raise SpecError(
            f"{path} holds more than one outline; keep one closed path, and paths inside it "
            "for holes",
            key=key,
        )
    middle = bounds((outer,)).mean(axis=0)
    turned = [_turned(outer, 1.0), *(_turned(h, -1.0) for h in holes)]
    clean = contours_of(section(tuple(c - middle for c in turned), "evenodd"), 1e-4)
    if len(clean) != len(turned):
        raise SpecError(f"the paths of {path} cross each other", key=key)
    return tuple(sorted(clean, key=lambda c: -abs(signed_area(c))))


def _turned(points: FloatArray, sign: float) -> FloatArray:
    return points if signed_area(points) * sign > 0.0 else points[::-1]


def _refuse_crossing(points: FloatArray, path: str, key: str) -> None:
    """Raise if a contour crosses itself: its area then depends on how one counts it."""
    drawn = abs(signed_area(points))
    ways = [section((points,), fill) for fill in ("nonzero", "evenodd")]
    parts = [len(contours_of(w, 1e-4)) for w in ways]
    if any(abs(w.area() - drawn) > 1e-6 * drawn for w in ways) or parts != [1, 1]:
        raise SpecError(
            f"the outline in {path} crosses itself; draw it as one line that does not", key=key
        )


def _paths(path: str, tolerance: float, key: str) -> list[FloatArray]:
    """Return the closed paths of an SVG file as polygons, in the drawing's units.

    Raises
    ------
    SourceError
        If the file cannot be read.
    """
    try:
        return [c for c in shapes_of(path, tolerance) if section((c,), "evenodd").area() > 0.0]
    except SourceError as error:
        raise SourceError(f"{key}: {error}") from None
