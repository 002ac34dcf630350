"""Where one part of a model stands in front of another.

Seen from above, an arm in front of a body ends at a jump of the depth. A jump is what the
slopes on either side do not explain; on a surface that merely turns away steeply the slope
grows towards its edge, and the neighbouring slopes tell. A relief has no room for the jump
itself, but it must not lose the edge: the front keeps a small step above what is behind it.
"""

from __future__ import annotations

import numpy as np

from .gradient import Array, divergence

# towards the edge of a round form the last two slopes are as 1 to √2 − 1 (circle geometry)
_TURNING = 2.5

_Part = slice | tuple[slice, slice]


def split_jumps(across: Array, down: Array) -> tuple[Array, Array]:
    """Take jumps out of differences of depth, in place.

    Parameters
    ----------
    across, down : float32 arrays
        Differences between neighbouring pixels, (rows, cols − 1) and (rows − 1, cols), in
        pixels; afterwards what a continuous surface would show.

    Returns
    -------
    across, down : float32 arrays
        The jumps, signed, in the same unit; 0 nearly everywhere.
    """
    return _split(across, np.s_[:, 1:], np.s_[:, :-1]), _split(down, np.s_[1:], np.s_[:-1])


def _split(steps: Array, later: _Part, earlier: _Part) -> Array:
    """Split differences along the axis of which the parts leave one end away."""
    size = np.abs(steps)
    beside = np.zeros_like(size)
    beside[later] = size[earlier]
    np.maximum(beside[earlier], size[later], out=beside[earlier])
    beside *= np.float32(_TURNING)
    size -= beside
    np.maximum(size, np.float32(0.0), out=size)
    jumps = np.copysign(size, steps)
    steps -= jumps
    # the edge lies somewhere between the two pixels: half of what is left is the front's own
    edge = size > 0.0
    half = np.float32(0.5) * steps[edge]
    steps[edge] -= half
    jumps[edge] += half
    return jumps


def steps(across: Array, down: Array, rise: float, half: float, kept: float) -> Array:
    """Return the right-hand side, (rows, cols), of small steps in the place of jumps.

    The steps run along the grid, from one pixel to the next: the surface puts smooth lines in
    their place (`steps` module).

    Parameters
    ----------
    across, down : float32 arrays
        Jumps from `split_jumps`, pixels; used up.
    rise : float
        Height of the step at a deep jump, in the unit of the solver's answer.
    half : float
        Jump, pixels, at which the step is half as high.
    kept : float
        Of the jump itself, what the step has besides, in the unit of the answer per pixel.
    """
    for jumps in (across, down):
        size = np.abs(jumps)
        size += np.float32(half)
        np.divide(np.float32(rise), size, out=size)
        size += np.float32(kept)
        jumps *= size
    return divergence(across, down)
