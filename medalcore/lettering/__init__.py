"""Lettering: typefaces, shaping, setting on arcs and lines, and letter solids."""

from .legend import build_legend
from .lines import build_inscription

__all__ = ["build_inscription", "build_legend"]
