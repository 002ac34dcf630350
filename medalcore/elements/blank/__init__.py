"""The blank: outline, both faces' rims and fields, and the edge, as one closed solid."""

from .build import Blanked, build_blank

__all__ = ["Blanked", "build_blank"]
