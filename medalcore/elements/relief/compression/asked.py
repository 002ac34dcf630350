"""What a relief is asked to be, once its source is known."""

from __future__ import annotations

import numpy as np
from msgspec.structs import replace

from ....errors import SpecError
from ....geometry.grid import HeightField
from ....spec.relief import Relief
from ..depth.source_depth import SourceDepth

_NOTHING = 1e-4  # mm that depths may be rounded by
_HIGHEST = 50.0  # mm, as the limit of the height says


def resolve_height(spec: Relief, source: SourceDepth) -> Relief:
    """Return a relief with the height that it comes to, where its depths are its heights.

    Raises
    ------
    SpecError
        If the source has no depth of its own, or none of it stands on the field; if the
        relief would be higher than wide.
    """
    if spec.compression == "none":
        spec = replace(spec, height=_own_height(spec, source))
    _check_size(spec, source.field)
    return spec


def _own_height(spec: Relief, source: SourceDepth) -> float:
    if source.lowest is None:
        raise SpecError(
            "without compression a picture's heights are what black and white stand for; say "
            "that, in mm",
            key="picture.white",
        )
    if source.lowest < -_NOTHING:
        raise SpecError(
            f"the lowest place of {spec.source} is {-source.lowest:.3g} mm below the field, where "
            "a relief that is not compressed stands on it; let its depths begin at 0 or above",
            key="picture.black" if spec.picture.black <= spec.picture.white else "picture.white",
        )
    top = float(source.field.heights.max()) + source.lowest
    if top < _NOTHING:
        raise SpecError(f"{spec.source} has no depth at all; take linear", key="compression")
    if top > _HIGHEST:
        raise SpecError(
            f"{spec.source} is {top:.4g} mm deep at its placed size, and a relief at most "
            f"{_HIGHEST:g} mm high; take linear or gradient, or make it smaller",
            key="compression",
        )
    return top


def _check_size(spec: Relief, field: HeightField) -> None:
    """Refuse a relief that stands higher than it is wide: its walls would be all there is."""
    rows, cols = np.flatnonzero(field.mask.any(1)), np.flatnonzero(field.mask.any(0))
    size = field.grid.pixel * (max(int(np.ptp(rows)), int(np.ptp(cols))) + 1)
    if spec.height > size:
        raise SpecError(
            f"{spec.height:.3g} mm high on {size:.3g} mm across is no relief; make it lower, or "
            "larger by fit",
            key="fit" if spec.compression == "none" else "height",
        )
