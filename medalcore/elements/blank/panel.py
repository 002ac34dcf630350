"""Panels and inner borders: parts of a field at another level, of any outline."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ...context.ground import Ground
from ...context.panel_height import Terrace, lean_of, section_of
from ...context.tolerance import Tolerance
from ...errors import SpecError
from ...geometry.contour import Contours, intersected, moved, signed_area, subtracted
from ...geometry.rays import distance
from ...geometry.solid import Label, Side, Solid, shared, solid_from_manifold, without
from ...spec import Panel
from .field_rings import ring_step
from .offset_stack import Band, OffsetSection, Region, below_field, stack_offsets
from .offsets import Offsets
from .shape import shape_of

_CROSS = 0.02
"""mm; how far a wall runs on beyond the field, at most, so that it crosses it."""

_GROWN = 0.03
"""mm of level field that a panel leaves to what is round it."""

Own = Callable[[float], Contours]
"""Gives the outline of the piece at a distance inwards, in the face's own coordinates."""


def terraces_of(
    panels: Sequence[Panel], own: Own, field: Contours, ground: Ground, key: str, tol: Tolerance
) -> tuple[Terrace, ...]:
    """Return the panels of a field, checked.

    Parameters
    ----------
    own : callable
    field : contours
        Where the field ends, in the face's coordinates, mm.
    ground : Ground
        The field without them.
    key : str
        Spec path of the list, for errors.

    Raises
    ------
    SpecError
        If one leaves the field, meets another or a circle, or its walls leave nothing of it.
    SourceError
        If a drawing cannot be used.
    """
    found: list[Terrace] = []
    taken: list[Contours] = []
    for i, panel in enumerate(panels):
        path = f"{key}[{i}]"
        contours = _outline(panel, own, path, tol)
        lean = lean_of(panel.height, panel.slope)
        region = _region(contours, panel.width, tol)
        room = region.at(-(lean if panel.height > 0.0 else 0.0) - _GROWN)
        _refuse_thin(panel, contours, region, room, lean, path)
        _refuse_beyond(panel, room, field, path)
        _refuse_circles(panel, room, ground, path)
        for j, other in enumerate(taken):
            if intersected(room, other):
                raise SpecError(
                    f"this panel overlaps {key}[{j}]; move one of them or make it smaller",
                    key=f"{path}.{_placed_by(panel)}",
                )
        taken.append(room)
        plain = tuple(tuple((float(u), float(v)) for u, v in c) for c in contours)
        found.append(Terrace(plain, section_of(panel.height, lean, panel.width)))
    return tuple(found)


def _outline(panel: Panel, own: Own, path: str, tolerance: Tolerance) -> Contours:
    """Return the upper edge of a panel, in the face's coordinates.

    Raises
    ------
    SpecError, SourceError
        If it cannot be drawn.
    """
    if panel.height == 0.0:
        raise SpecError(
            "a panel level with the field is none; give it a height", key=f"{path}.height"
        )
    if panel.shape == "outline":
        contours = own(panel.inset)
        if not contours:
            raise SpecError(
                f"nothing of the piece lies {panel.inset:g} mm from its edge; make it less",
                key=f"{path}.inset",
            )
        return contours
    contours = shape_of(panel, panel.size, path, tolerance)
    shift = np.array([[1.0, 0.0, panel.at[0]], [0.0, 1.0, panel.at[1]]])
    return moved(contours, shift)


def _region(contours: Contours, width: float, tolerance: Tolerance) -> Region:
    whole = Offsets(contours, tolerance)
    return Band(whole, width) if width else whole


def _placed_by(panel: Panel) -> str:
    return "inset" if panel.shape == "outline" else "at"


def _refuse_thin(
    panel: Panel, contours: Contours, region: Region, room: Contours, lean: float, path: str
) -> None:
    """Refuse walls that leave nothing level between them."""
    sunk = lean if panel.height < 0.0 else 0.0
    if panel.width and 2.0 * sunk >= panel.width - 1e-3:
        raise SpecError(
            f"walls {lean:.3g} mm wide leave nothing of a border {panel.width:g} mm wide",
            key=f"{path}.width",
        )
    deep = region.at(sunk + _CROSS)
    if panel.width and min(len(deep), len(room)) < 2 * len(contours):
        raise SpecError(
            f"a border {panel.width:g} mm wide fills its outline; 0 makes a panel of it",
            key=f"{path}.width",
        )
    if not deep:
        raise SpecError(
            f"walls {lean:.3g} mm wide leave nothing of the panel; make it larger or steeper",
            key=f"{path}.{'inset' if panel.shape == 'outline' else 'size'}",
        )


def _refuse_beyond(panel: Panel, room: Contours, field: Contours, path: str) -> None:
    """Refuse what does not lie on the field."""
    over = subtracted(room, field)
    if not over:
        return
    holes = tuple(c[::-1] for c in field if signed_area(c) < 0.0)
    if holes and intersected(room, holes):
        raise SpecError(
            "this panel lies over a hole of the piece; move it, or give it a width so that it "
            "goes round the hole",
            key=f"{path}.width",
        )
    far = max(-distance(field, p) for c in over for p in c)
    ask = "move it inwards" if panel.shape == "outline" else "make it smaller or move it"
    where = "right to the edge of" if far < 0.005 else f"{far:.2g} mm past"
    raise SpecError(
        f"this panel with its walls reaches {where} the field; {ask}",
        key=f"{path}.{'inset' if panel.shape == 'outline' else 'size'}",
    )


def _refuse_circles(panel: Panel, room: Contours, ground: Ground, path: str) -> None:
    """Refuse what lies over the wall of a circle."""
    low = max(0.0, -distance(room, np.zeros(2)))
    high = float(np.hypot(*np.concatenate(room).T).max())
    if any(low <= r <= high for r, _ in ground.steps):
        raise SpecError(
            "this panel lies across a circle of the field; move it or make it smaller",
            key=f"{path}.{_placed_by(panel)}",
        )


def panel_solids(
    ground: Ground, side: Side, tolerance: Tolerance
) -> tuple[list[Solid], list[Solid]]:
    """Return what is added to a field and what is cut from it, in the face's coordinates."""
    adds, cuts = [], []
    for terrace in ground.terraces:
        if terrace.height > 0.0:
            adds.append(_raised(terrace, ground, side, tolerance))
        else:
            cuts.append(_sunk(terrace, ground, side, tolerance))
    return adds, cuts


def _sunk(terrace: Terrace, ground: Ground, side: Side, tolerance: Tolerance) -> Solid:
    """Return the cutter of a sunk panel or border."""
    (_, _), (lean, h) = terrace.section[:2]
    width = terrace.section[-1][0] if len(terrace.section) > 2 else 0.0
    region, base = _region(terrace.contours, width, tolerance), _base(terrace, ground)
    slope = -lean / h
    e = _beyond(slope, width - 2.0 * lean if width else math.inf)
    above = round(-e * slope, 9)
    sky = ground.highest + 1.0
    upper: list[OffsetSection] = [(above, base.lifted(e)), (above, sky)]
    label, longest = Label("field", side), ring_step(ground, tolerance)
    if not ground.dish:
        return stack_offsets(region, [(lean, base.level + h), *upper], label, longest)
    # The wall runs on below the floor, and what lies below the floor stays.
    below = round(lean + e * slope, 9)
    low = ground.lowest - 1.0
    body = stack_offsets(
        region, [(below, low), (below, base.lifted(h - e)), *upper], label, longest
    )
    return without(body, [_below(terrace, base.lifted(h), low - 1.0, side, tolerance)])


def _raised(terrace: Terrace, ground: Ground, side: Side, tolerance: Tolerance) -> Solid:
    """Return a raised panel or border, which reaches a little into the field."""
    (start, _), (_, h) = terrace.section[:2]
    width = terrace.section[-2][0] if len(terrace.section) > 2 else 0.0
    region, base = _region(terrace.contours, width, tolerance), _base(terrace, ground)
    slope = -start / h
    e = min(_beyond(slope, width or math.inf), 0.4 * (ground.lowest - ground.floor))
    foot = round(start - e * slope, 9)
    label, longest = Label("field", side), ring_step(ground, tolerance)
    if not ground.dish:
        return stack_offsets(
            region, [(foot, base.level - e), (0.0, base.level + h)], label, longest
        )
    sky = ground.highest + h + 1.0
    top = round(e * slope, 9)
    sections: list[OffsetSection] = [
        (foot, ground.floor), (foot, base.lifted(-e)), (top, base.lifted(h + e)), (top, sky),
    ]  # fmt: skip
    body = stack_offsets(region, sections, label, longest)
    return shared(body, _below(terrace, base.lifted(h), ground.floor - 1.0, side, tolerance))


def _beyond(slope: float, level: float) -> float:
    """Return how far up or down a wall runs on, mm, past something level that is so wide."""
    return min(0.05, min(_CROSS, 0.2 * level) / max(slope, 1e-9))


def _base(terrace: Terrace, ground: Ground) -> Ground:
    """Return the bare field at the level that a circle gives it under a terrace."""
    first = terrace.contours[0][0]
    bare = ground.lifted(0.0)
    rise = replace(ground, terraces=()).height(first) - bare.height(first)
    return bare.lifted(float(rise))


def _below(terrace: Terrace, field: Ground, low: float, side: Side, tolerance: Tolerance) -> Solid:
    out = 1.1 * float(np.hypot(*np.concatenate(terrace.contours).T).max()) + 1.0
    body = below_field(field, out, low, tolerance)
    return solid_from_manifold(body, "field", "the floor of a panel").on_side(side)
