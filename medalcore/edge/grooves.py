"""Grooves that run round the edge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import SpecError
from ..spec import Edge
from ..tolerance import Tolerance
from .notch import STRAIGHT, Notch, fit_notch

FloatArray = NDArray[np.float64]


def groove_points(edge: Edge, low: float, high: float, tolerance: Tolerance) -> FloatArray:
    """Return the corners of all grooves down the edge.

    Parameters
    ----------
    low, high : float
        Where the upright edge begins and ends, z in mm; grooves stand evenly between.

    Returns
    -------
    points : (n, 2) float64
        Inset and z from the uppermost to the lowest, mm.

    Raises
    ------
    SpecError
        If the grooves do not fit.
    """
    share = (high - low) / edge.grooves
    if edge.groove_width > 0.95 * share:
        raise SpecError(
            f"{edge.grooves} grooves {edge.groove_width:g} mm wide do not fit an upright edge "
            f"of {high - low:.3g} mm; at most {0.95 * share:.2f} mm wide",
            key="edge.groove_width",
        )
    # Corners as sharp as a tool leaves them: a tenth of the smaller size, at most 0.05 mm.
    corner = min(0.05, 0.1 * edge.groove_width, 0.1 * edge.groove_depth)
    notch = Notch(edge.groove_profile, edge.groove_width, edge.groove_depth, corner)
    section = fit_notch(notch, STRAIGHT, tolerance, "edge.groove_depth", "edge.groove_depth")
    inset = np.maximum(STRAIGHT - section[:, 1], 0.0)
    inset[[0, -1]] = 0.0
    inset[inset > edge.groove_depth - 1e-5] = edge.groove_depth  # a floor is level
    middles = high - share * (np.arange(edge.grooves) + 0.5)
    return np.vstack([np.column_stack([inset, m + section[:, 0]]) for m in middles])
