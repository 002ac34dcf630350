"""Flat drawings for a relief: filled regions at levels, read as outlines and placed.

A drawing has no depth to be found out: its levels are said by its colours (`levels`), and its
outlines are curves. Both are kept: the outlines as contours all the way to the surface, which
gets its edges on them (`flat_shape`), and the levels as what `drawing_depth` makes heights of.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from ....context.ground import Ground
from ....errors import SpecError
from ....geometry.bodies import Section, mitred
from ....geometry.contour import Contours, bounds, contours_of, moved, round_segments, section
from ....geometry.types import FloatArray
from ....svg.drawing import read_drawing
from ....svg.levels import bare_colours, levels_of
from ..keys import SourceKeys
from .fit import crop_box, free_reach

_CROP_CURVE = 0.002
"""Largest distance between a crop that is drawn in and its chords, mm."""

_ROUGH = 100.0, 0.05
"""Size of a first look, mm, and its tolerance: it finds the box of a turned drawing."""


@dataclass(frozen=True, eq=False)
class Flat:
    """A flat drawing where it lies on a face.

    Attributes
    ----------
    levels : tuple of contours
        Lowest first, each within the one before, mm; parts of outlines that are common to
        several are the same points.
    whole : tuple of contours
        The same before they were cut and cropped.
    shares : tuple of float
        Of the height, for each level; the last is 1.
    low, high : (2,) float64
        Corners of the box that is modelled, mm.
    size : float
        Larger side of the whole drawing, mm.
    frame : (2, 3) float64
        From the relief's own frame to the face, see `placement.model_frame`.
    notes : tuple of str
        What a person should know of the drawing, one line each.
    """

    levels: tuple[Contours, ...]
    whole: tuple[Contours, ...]
    shares: tuple[float, ...]
    low: FloatArray
    high: FloatArray
    size: float
    frame: FloatArray
    notes: tuple[str, ...]

    def placed(self, scale: float, shift: FloatArray) -> Flat:
        """Return the drawing with every point p at p · scale + shift, mm."""
        by = np.column_stack([scale * np.eye(2), shift])

        def there(levels: tuple[Contours, ...]) -> tuple[Contours, ...]:
            return tuple(moved(c, by) for c in levels)

        return dataclasses.replace(
            self,
            levels=there(self.levels),
            whole=there(self.whole),
            low=self.low * scale + shift,
            high=self.high * scale + shift,
            size=self.size * scale,
            frame=self.frame * scale + np.column_stack([np.zeros((2, 2)), shift]),
        )

    def within(self, spec: SourceKeys, inset: tuple[float, ...]) -> Flat:
        """Return the drawing with every level its own way inside the crop, mm."""
        levels = []
        for contours, far in zip(self.levels, inset, strict=True):
            crop = _crop(spec, _CROP_CURVE, far)
            levels.append(contours if crop is None else contours_of(section(contours) ^ crop, 0.0))
        return dataclasses.replace(self, levels=tuple(levels)) if levels[0] else self


def read_flat(name: str, spec: SourceKeys, ground: Ground, curve: float) -> Flat:
    """Read a flat drawing and place it.

    Parameters
    ----------
    name : str
        Path of an SVG file.
    spec : SourceKeys
        Its ``turn``, ``mirror``, ``cut``, ``crop``, ``fit``, ``at`` and ``flat``.
    ground : Ground
        The field that ``fit = 0`` fills.
    curve : float
        Largest distance between the drawing's curves and its outlines, mm.

    Raises
    ------
    SourceError
        If the file cannot be read or nothing in it leaves a mark.
    SpecError
        If it is turned about x or y, or nothing of it is left.
    """
    if spec.turn[0] or spec.turn[1]:
        raise SpecError(
            f"{name} is a flat drawing, it has no sides to look at; turn it about z only",
            key="turn",
        )
    bare = bare_colours(spec.flat.bare, "flat.bare")
    angle = math.radians(spec.turn[2])
    flip = -1.0 if spec.mirror else 1.0
    turn = np.array(
        [[flip * math.cos(angle), flip * -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
    )
    rough = read_drawing(name, *_ROUGH, bare)
    own = _ROUGH[0] * _scale(rough.contours, turn, spec, ground)
    drawing = read_drawing(name, own, curve / 2, bare)
    everything = drawing.contours
    scale = _scale(everything, turn, spec, ground)
    box = bounds(_turned(everything, turn))
    shift = np.asarray(spec.at) - scale * box.mean(axis=0)
    place = np.column_stack([scale * turn, shift])
    levels = levels_of(drawing, spec.flat.levels)[::-1]
    whole = _nested([moved(level.contours, place) for level in levels], curve)
    low, high = scale * box + shift
    left = _left(whole, tuple(level.share for level in levels), (low, high), spec, curve)
    if not left[0]:
        key = "crop" if spec.crop.shape != "none" else "cut"
        raise SpecError(f"nothing of {name} is left inside it", key=key)
    low, high = crop_box(low, high, spec)
    return Flat(
        levels=left,
        whole=whole,
        shares=tuple(level.share for level in levels)[: len(left)],
        low=low,
        high=high,
        size=float(np.max(box[1] - box[0])) * scale,
        frame=np.column_stack([scale * own * turn, shift]),
        notes=tuple(f"{name}: left out or simplified: {what}" for what in drawing.left_out),
    )


def _turned(contours: Contours, turn: FloatArray) -> Contours:
    return moved(contours, np.column_stack([turn, np.zeros(2)]))


def _scale(contours: Contours, turn: FloatArray, spec: SourceKeys, ground: Ground) -> float:
    """Return by what a drawing must be scaled to be as large as is asked."""
    made = _turned(contours, turn)
    box = bounds(made)
    if spec.fit > 0:
        return spec.fit / float(np.max(box[1] - box[0]))
    away = np.concatenate(made) - box.mean(axis=0)
    return free_reach(spec, ground) / float(np.hypot(*away.T).max())


def _nested(levels: list[Contours], hair: float) -> tuple[Contours, ...]:
    """Return levels each of which lies within the one before, without hairs between them."""
    inside = section(levels[0])
    done = [contours_of(inside)]
    for contours in levels[1:]:
        within = inside ^ section(contours)
        rest = inside - within
        wide = mitred(mitred(rest, -hair), 1.05 * hair)
        inside = within + (rest - wide)  # a hair is what vanishes when drawn in
        done.append(contours_of(inside))
    return tuple(done)


def _left(
    whole: tuple[Contours, ...],
    shares: tuple[float, ...],
    box: tuple[FloatArray, FloatArray],
    spec: SourceKeys,
    curve: float,
) -> tuple[Contours, ...]:
    """Return what the cuts and the crop leave of the levels."""
    keep = [section(c) for c in whole]
    for n, share in enumerate(shares):
        if share < spec.cut.back:  # all that does not rise above the cut goes
            keep[: n + 1] = [keep[n + 1]] * (n + 1)
    for area in (_above_foot(box, spec), _crop(spec, curve)):
        if area is not None:
            keep = [c ^ area for c in keep]
    return tuple(contours_of(c, 0.0) for c in keep)


def _above_foot(box: tuple[FloatArray, FloatArray], spec: SourceKeys) -> Section | None:
    if not spec.cut.foot:
        return None
    low, high = box
    angle = math.radians(spec.cut.slant)
    along, up = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), 0.0])
    up[1] = math.cos(angle)
    through = np.array([spec.at[0], low[1] + spec.cut.foot * (high[1] - low[1])])
    far = 4.0 * float(np.max(high - low)) + 1.0
    corners = [through - far * along, through + far * along]
    return section((np.array([*corners, corners[1] + far * up, corners[0] + far * up]),))


def _crop(spec: SourceKeys, curve: float, inset: float = 0.0) -> Section | None:
    crop = spec.crop
    if crop.shape == "none":
        return None
    half = np.maximum(np.array([crop.width, crop.height]) / 2 - inset, 0.0)
    if crop.shape == "rectangle":
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half
    else:
        # no chord of an oval is farther off than those of the circle about it
        count = round_segments(float(half.max()), curve, 48)
        t = 2 * np.pi * np.arange(count) / count
        corners = half * np.column_stack([np.cos(t), np.sin(t)])
    return section((corners + np.asarray(spec.at),))
