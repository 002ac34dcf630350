"""The edge: reeds and grooves, on round pieces and on any outline."""

from .grooves import groove_points
from .notch import STRAIGHT, Notch, arc_points, draw_notch, fit_notch
from .reeds import Reeding, kept_off, reeded_circle, reeding_of
from .setout import notches_on, reed_cutter, set_out, slanted_cutter, started

__all__ = [
    "STRAIGHT",
    "Notch",
    "Reeding",
    "arc_points",
    "draw_notch",
    "fit_notch",
    "groove_points",
    "kept_off",
    "notches_on",
    "reed_cutter",
    "reeded_circle",
    "reeding_of",
    "set_out",
    "slanted_cutter",
    "started",
]
