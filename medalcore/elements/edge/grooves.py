"""Grooves that run round the edge."""

from __future__ import annotations

import math

import numpy as np

from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.types import FloatArray
from ...spec import Edge
from .notch import STRAIGHT, Notch, fit_notch

_LAND = 0.02
"""Least plain edge beside a groove that is placed by hand, mm."""


def groove_points(edge: Edge, low: float, high: float, tolerance: Tolerance) -> FloatArray:
    """Return the corners of all grooves down the edge.

    Parameters
    ----------
    low, high : float
        Where the upright edge begins and ends, z in mm; grooves stand evenly between unless
        the spec places them.

    Returns
    -------
    points : (n, 2) float64
        Inset and z from the uppermost to the lowest, mm.

    Raises
    ------
    SpecError
        If the grooves do not fit.
    """
    middles = (
        _asked_middles(edge, low, high)
        if edge.groove_heights.strip()
        else _even_middles(edge, low, high)
    )
    # Corners as sharp as a tool leaves them: a tenth of the smaller size, at most 0.05 mm.
    corner = min(0.05, 0.1 * edge.groove_width, 0.1 * edge.groove_depth)
    notch = Notch(edge.groove_profile, edge.groove_width, edge.groove_depth, corner)
    section = fit_notch(notch, STRAIGHT, tolerance, "edge.groove_depth", "edge.groove_depth")
    inset = np.maximum(STRAIGHT - section[:, 1], 0.0)
    inset[[0, -1]] = 0.0
    inset[inset > edge.groove_depth - 1e-5] = edge.groove_depth  # a floor is level
    return np.vstack([np.column_stack([inset, m + section[:, 0]]) for m in middles])


def _even_middles(edge: Edge, low: float, high: float) -> FloatArray:
    """Return the middles of grooves spaced evenly, the uppermost first, mm."""
    share = (high - low) / edge.grooves
    if edge.groove_width > 0.95 * share:
        raise SpecError(
            f"{edge.grooves} grooves {edge.groove_width:g} mm wide do not fit an upright edge "
            f"of {high - low:.3g} mm; at most {0.95 * share:.2f} mm wide",
            key="edge.groove_width",
        )
    return np.asarray(high - share * (np.arange(edge.grooves) + 0.5))


def _asked_middles(edge: Edge, low: float, high: float) -> FloatArray:
    """Return the middles of grooves where the spec puts them, the uppermost first, mm.

    Raises
    ------
    SpecError
        If what is given is no numbers, or a groove leaves the upright edge or meets another.
    """
    key, text = "edge.groove_heights", edge.groove_heights
    try:
        given = [float(word) for word in text.replace(",", " ").split()]
    except ValueError:
        given = [math.nan]
    if not np.all(np.isfinite(given)):
        raise SpecError(f"'{text}' is no list of heights; give numbers such as '-0.6 0.2'", key=key)
    middle, most = (low + high) / 2.0, (high - low - edge.groove_width) / 2.0 - _LAND
    if most < 0.0 or max(map(abs, given)) > most:
        what = f"heights from {-most:.3g} to {most:.3g} mm" if most >= 0.0 else "a smaller width"
        raise SpecError(
            f"a groove {edge.groove_width:g} mm wide leaves the upright edge of "
            f"{high - low:.3g} mm; give {what}",
            key=key if most >= 0.0 else "edge.groove_width",
        )
    ordered = np.sort(given)[::-1]
    closest = float(-np.diff(ordered).max(initial=-math.inf))
    if closest < edge.groove_width + _LAND:
        raise SpecError(
            f"grooves {edge.groove_width:g} mm wide and {closest:.3g} mm apart meet; put them "
            f"{edge.groove_width + _LAND:.3g} mm or more from middle to middle",
            key=key,
        )
    return np.asarray(middle + ordered)
