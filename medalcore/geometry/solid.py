"""Closed solids whose triangles remember the zone they came from.

The only place that talks to the boolean library. Manifold keeps an original id for every
triangle through any number of booleans; `Solid` maps those ids to zones.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import manifold3d as m3
import numpy as np

from ..errors import SolidError
from .types import FloatArray, IntArray

ZONES = (
    "field", "rim", "edge", "relief", "legend", "inscription", "border", "emblem", "loop",
    "texture",
)  # fmt: skip
Side = Literal[-1, 0, 1]


@dataclass(frozen=True)
class Label:
    """Where a triangle belongs.

    Attributes
    ----------
    zone : str
    side : int
        Its face: 1 obverse, −1 reverse, 0 neither.
    unit : int
        Which letter, cell or other unit of an element; −1 for none of its own.
    """

    zone: str
    side: Side = 0
    unit: int = -1


@dataclass(frozen=True, eq=False)
class Solid:
    """A manifold and the labels of its original ids."""

    manifold: m3.Manifold
    labels: Mapping[int, Label] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        """Tell whether there is nothing in it."""
        return bool(self.manifold.is_empty())

    def on_side(self, side: Side, first: int = 0) -> Solid:
        """Return the same solid with labels of a face, their units numbered from `first`."""
        labels = {i: Label(v.zone, side, first + max(v.unit, 0)) for i, v in self.labels.items()}
        return Solid(self.manifold, labels)

    def as_unit(self, unit: int) -> Solid:
        """Return the same solid as one unit of an element."""
        return Solid(self.manifold, {i: replace(v, unit=unit) for i, v in self.labels.items()})

    def renewed(self) -> Solid:
        """Return the same solid under original ids of its own.

        Two copies in one union need that: it tells triangles apart by their original ids.
        """
        vertices, triangles, code, labels = arrays_of(self)
        return solid_from_arrays(vertices, triangles, labels, code)

    def moved(self, matrix: FloatArray) -> Solid:
        """Return the solid under a (3, 4) float64 rigid transform."""
        return Solid(self.manifold.transform(np.ascontiguousarray(matrix)), self.labels)


def checked(manifold: m3.Manifold, what: str) -> m3.Manifold:
    """Return the manifold, or raise if the library refused it.

    Raises
    ------
    SolidError
        With the library's status; it is never ignored.
    """
    status = manifold.status()
    if status != m3.Error.NoError:
        raise SolidError(f"{what} is not a closed solid ({status.name})")
    return manifold


def solid_from_arrays(
    vertices: FloatArray,
    triangles: IntArray,
    zone: str | Sequence[Label],
    code: IntArray | None = None,
) -> Solid:
    """Make a solid from a closed triangle mesh.

    Parameters
    ----------
    vertices : (n, 3) float64
        mm.
    triangles : (m, 3) int
        Counter-clockwise seen from outside.
    zone : str or sequence of Label
        One zone for all, or the labels that `code` picks from.
    code : (m,) int, optional
        Index into `zone` for every triangle.

    Raises
    ------
    SolidError
        If the mesh is not closed and consistently turned.
    """
    labels = (Label(zone),) if isinstance(zone, str) else tuple(zone)
    if code is None:
        code = np.zeros(len(triangles), dtype=np.int64)
    order = np.argsort(code, kind="stable")
    counts = np.bincount(code, minlength=len(labels))
    first = m3.Manifold.reserve_ids(len(labels))
    used = np.flatnonzero(counts)
    run_index = np.concatenate([[0], np.cumsum(counts[used])]) * 3
    mesh = m3.Mesh64(
        vert_properties=np.ascontiguousarray(vertices, dtype=np.float64),
        tri_verts=np.ascontiguousarray(np.asarray(triangles)[order], dtype=np.uint64),
        run_index=run_index.astype(np.uint64),
        run_original_id=(first + used).astype(np.uint32),
    )
    manifold = checked(m3.Manifold(mesh), labels[int(used[0])].zone if len(used) else "solid")
    return Solid(manifold, {int(first + i): labels[i] for i in used})


def solid_from_manifold(manifold: m3.Manifold, zone: str, what: str = "") -> Solid:
    """Label a manifold made by the library itself with one zone.

    Raises
    ------
    SolidError
        As `checked`.
    """
    original = checked(manifold, what or zone).as_original()
    return Solid(original, {original.original_id(): Label(zone)})


def arrays_of(solid: Solid) -> tuple[FloatArray, IntArray, IntArray, tuple[Label, ...]]:
    """Return vertices (n, 3) mm, triangles (m, 3), label code (m,), and the labels."""
    mesh = checked(solid.manifold, "the piece").to_mesh64()
    vertices = np.array(mesh.vert_properties[:, :3], dtype=np.float64)
    triangles = np.array(mesh.tri_verts, dtype=np.int64)
    labels = tuple(sorted(set(solid.labels.values()), key=_order))
    code = np.zeros(len(triangles), dtype=np.int64)
    bounds = np.asarray(mesh.run_index, dtype=np.int64) // 3
    for original, start, stop in zip(mesh.run_original_id, bounds[:-1], bounds[1:], strict=True):
        code[start:stop] = labels.index(solid.labels[int(original)])
    return vertices, triangles, code, labels


def _order(label: Label) -> tuple[int, int, int]:
    return ZONES.index(label.zone), -label.side, label.unit


def united(solids: Sequence[Solid]) -> Solid:
    """Return the union of solids."""
    return _batch(solids, m3.OpType.Add)


def without(body: Solid, cutters: Sequence[Solid]) -> Solid:
    """Return `body` with all `cutters` taken away; cut faces carry the cutters' labels."""
    return _batch([body, *cutters], m3.OpType.Subtract) if cutters else body


def shared(body: Solid, other: Solid) -> Solid:
    """Return what two solids have in common."""
    return _batch([body, other], m3.OpType.Intersect)


def _batch(solids: Sequence[Solid], op: m3.OpType) -> Solid:
    labels = {i: label for s in solids for i, label in s.labels.items()}
    manifold = m3.Manifold.batch_boolean([s.manifold for s in solids], op)
    return Solid(checked(manifold, "the union of the parts"), labels)
