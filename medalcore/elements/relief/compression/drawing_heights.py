"""Heights of a flat drawing: its levels in proportion."""

from __future__ import annotations

import numpy as np

from ....geometry.grid import HeightField
from ..keys import CompressionKeys
from .compress import Compressed, foot_of
from .foot_blend import blend_foot


def compress_drawing(raw: HeightField, spec: CompressionKeys) -> Compressed:
    """Bring the levels of a drawing to the height of a relief in proportion.

    The field of the piece stays at 0, so a level at half the height stands half as high. A
    drawing is in low relief as it is: whether its forms are level or swell, nothing of it needs
    to be flattened for raking light, so it is scaled whatever the compression.
    """
    foot, most = foot_of(spec), float(raw.heights.max())
    heights = np.maximum(raw.heights * np.float32(spec.height / most), np.float32(foot)) * raw.mask
    heights = np.minimum(heights, np.float32(spec.height))
    field = blend_foot(HeightField(raw.grid, heights, raw.mask), spec.blend)
    return Compressed(field, {"model_depth_mm": round(most, 5), "foot_mm": round(foot, 5)})
