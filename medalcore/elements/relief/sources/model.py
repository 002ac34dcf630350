"""Models for a relief: read from files or taken from memory, cleaned, and told about.

Nothing is repaired that the depth map does not need repaired: open, inside-out and loose
surfaces are seen from above all the same. What was found is told in one line each.
"""

from __future__ import annotations

import gc
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from ....context.element import Model
from ....errors import SourceError
from ....geometry.topology import Topology, nearly_welded, topology_of
from ....geometry.types import FloatArray, IntArray
from ....spec.base import IN_MEMORY
from ....spec.kinds import MODEL_FILES
from ....system.file_access import IS_FOLDER, why_unreadable
from .model_files import binary_stl, three_mf

PLY_OWN = frozenset("x y z nx ny nz s t u v".split())
"""Numbers of a vertex in a PLY file that are no weights."""

PLY_GROUP = "group_"
"""May stand before the name of a group in a PLY file; the name is then written as in a URL, for
names in the head of a PLY file are ASCII and end at spaces."""

_FARTHEST = 1e30
"""Units that a model may reach: beyond, squares of sizes leave the numbers a computer has."""

_TRIANGLES = 20_000_000
"""Triangles that a scene of parts may use, each part as often as it is used."""

_NODES = 2000
"""Nodes of a scene: the reader follows each from the root, which takes their square."""

SAME = 1e-7
"""Share of a model's size that two points may lie apart and be one."""


@dataclass(frozen=True, eq=False)
class SourceMesh:
    """A model as it is used: points that are equal made one, nothing left that is unused.

    Attributes
    ----------
    vertices : (n, 3) float64
        In the model's own units and axes, finite, every one used by a triangle.
    triangles : (m, 3) int64
        With three different corners each; facing either way.
    name : str
        What it was asked for by.
    topology : Topology
        What was counted.
    notes : tuple of str
        What a person should know of the model, one line each; empty for a closed, outward
        facing, welded one.
    weights : mapping of str to (n,) float64
        Vertex groups by name, 0 to 1.
    """

    vertices: FloatArray
    triangles: IntArray
    name: str
    topology: Topology
    notes: tuple[str, ...] = ()
    weights: Mapping[str, FloatArray] = field(default_factory=dict)


def read_model(name: str, models: Mapping[str, Model]) -> SourceMesh:
    """Read a model file, or take the model of that name from memory.

    Parameters
    ----------
    name : str
        A path, or any text that is a key of `models`, such as ``object:NAME``.
    models : mapping of str to Model
        Models in memory; they come before files.

    Raises
    ------
    SourceError
        One line: which model, what is wrong, what would be right.
    """
    if name in models:
        model = models[name]
    elif name.startswith(IN_MEMORY):
        known = ", ".join(sorted(models)) or "none were given"
        kind = "object" if name.startswith("object:") else "array"
        raise SourceError(f"{name}: there is no such {kind}; known here: {known}")
    else:
        model = _read_file(name)
    return source_mesh(model.vertices, model.triangles, name, model.weights)


def source_mesh(
    vertices: Any, triangles: Any, name: str, weights: Mapping[str, Any] | None = None
) -> SourceMesh:
    """Clean arrays into a `SourceMesh`.

    Parameters
    ----------
    vertices : (n, 3) array of numbers
    triangles : (m, 3) array of whole numbers
    name : str
        For errors and notes.
    weights : mapping of str to (n,) array of numbers, optional
        Vertex groups.

    Raises
    ------
    SourceError
        If they are no triangles of finite points, or a group has not one number for each.
    """
    points = np.ascontiguousarray(vertices, dtype=np.float64)
    faces = np.ascontiguousarray(triangles, dtype=np.int64)
    if points.ndim != 2 or points.shape[1] != 3 or faces.ndim != 2 or faces.shape[1] != 3:
        raise SourceError(
            f"{name}: has arrays of shape {points.shape} and {faces.shape}; "
            "give vertices (n, 3) and triangles (m, 3)"
        )
    if not len(faces):
        what = f"{len(points)} points but no triangles" if len(points) else "nothing in it"
        raise SourceError(f"{name}: has {what}; a relief needs a surface of triangles")
    if faces.min() < 0 or faces.max() >= len(points):
        raise SourceError(f"{name}: its triangles name points that are not there")
    if np.isfinite(points).all() and np.abs(points).max(initial=0.0) > _FARTHEST:
        raise SourceError(
            f"{name}: reaches {np.abs(points).max():.3g} units from its origin; export it in mm "
            "or metres"
        )
    if not np.isfinite(points).all():
        count = int(np.count_nonzero(~np.isfinite(points).all(axis=1)))
        raise SourceError(f"{name}: {count} of its points are not finite numbers; export it again")
    size, count, given = float(np.ptp(points, axis=0).max()), len(points), faces
    points, faces, merged = nearly_welded(points, faces, SAME * size or 1.0)
    whole = (
        (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    )
    collapsed = len(faces) - int(np.count_nonzero(whole))
    if collapsed:
        faces, given = faces[whole], given[whole]
    if not len(faces):
        raise SourceError(f"{name}: all its triangles are collapsed to lines or points")
    used = np.zeros(len(points), dtype=bool)
    used[faces.ravel()] = True
    if not used.all():
        faces = (np.cumsum(used) - 1)[faces]
        points = points[used]
    if not np.ptp(points, axis=0).any():
        raise SourceError(f"{name}: all its points are one; a relief needs a surface")
    topology = topology_of(points, faces, merged=merged, collapsed=collapsed)
    if topology.crowded_edges:
        faces, given = _once(faces, given)
    short = name if name.startswith(IN_MEMORY) else Path(name).name
    groups = {
        group: _carried(values, group, name, count, given, faces, len(points))
        for group, values in (weights or {}).items()
    }
    return SourceMesh(points, faces, name, topology, tuple(topology.notes(short)), groups)


def _once(faces: IntArray, given: IntArray) -> tuple[IntArray, IntArray]:
    """Return triangles without those on the same corners as one before: they hide it, no more."""
    ordered = np.sort(faces, axis=1)
    order = np.lexsort(ordered.T)
    there = ordered[order]
    new = np.append(True, np.any(there[1:] != there[:-1], axis=1))
    first = np.sort(order[new])
    return faces[first], given[first]


def _carried(
    values: Any, group: str, name: str, count: int, given: IntArray, faces: IntArray, left: int
) -> FloatArray:
    """Bring a vertex group from the `count` points given to those left, corner by corner."""
    old = np.asarray(values, dtype=np.float64)
    if old.shape != (count,):
        raise SourceError(
            f"{name}: its vertex group '{group}' has {old.size} weights; give {count}, one for "
            "each point"
        )
    new = np.zeros(left)
    np.maximum.at(new, faces.ravel(), np.clip(np.nan_to_num(old), 0.0, 1.0)[given.ravel()])
    return new


def _read_file(name: str) -> Model:
    """Return all triangles of a file, every part where its scene puts it."""
    path = Path(name)
    ending = path.suffix.lower()
    if ending not in MODEL_FILES:
        allowed = ", ".join(e[1:].upper() for e in MODEL_FILES)
        what = f"'{ending}' is no model file" if ending else "has no file ending"
        raise SourceError(
            f"{name}: {what}; models are read from {allowed}, depth pictures from PNG, TIFF "
            "and EXR, flat drawings from SVG"
        )
    if reason := why_unreadable(path):
        hint = "; give a model file in it" if reason == IS_FOLDER else ""
        raise SourceError(f"{name}: {reason}{hint}")
    try:
        if path.stat().st_size == 0:
            raise SourceError(f"{name}: is empty; export the model again")
        loaded, parts = _loaded(path, ending)
    except SourceError:
        raise
    except OSError as error:
        raise SourceError(f"{name}: cannot be read ({error.strerror or error})") from None
    except IndexError:
        raise SourceError(f"{name}: its triangles name points that are not there") from None
    except Exception as error:  # a parser may raise anything at all on a damaged file
        reason = " ".join(str(error).split()) or type(error).__name__
        kind = ending[1:].upper()
        raise SourceError(f"{name}: cannot be read as {kind} ({reason[:120]})") from None
    if not parts:
        raise SourceError(f"{name}: has no triangles in it; a relief needs a surface of triangles")
    vertices, triangles = parts[0]
    if len(parts) > 1:
        start = np.cumsum([0, *(len(v) for v, _ in parts)])
        vertices = np.concatenate([v for v, _ in parts])
        triangles = np.concatenate([t + s for (_, t), s in zip(parts, start, strict=False)])
    model = Model(vertices, triangles, _groups(loaded, len(vertices)))
    del loaded, parts
    gc.collect()  # what was loaded holds itself in circles: hundreds of megabytes of a large scan
    return model


def _loaded(path: Path, ending: str) -> tuple[Any, list[tuple[FloatArray, IntArray]]]:
    """Return what a reader made of a file, if it is kept for more, and its meshes."""
    if ending == ".stl":
        found = binary_stl(str(path))
        if found is not None:
            return None, [found] if len(found[1]) else []
    if ending == ".3mf":
        return None, list(three_mf(str(path)))
    import trimesh  # loads slowly; only models in files need it

    if ending in (".glb", ".gltf"):
        _check_nodes(path)
    loaded = trimesh.load(str(path), process=False, skip_materials=True)
    return loaded, list(_parts(loaded))


def _check_nodes(path: Path) -> None:
    """Refuse a glTF file of more nodes, or numbers, than can be worked.

    glTF 2.0 specification, 4 (binary files: a table in JSON comes first) and 5.1 (accessors).

    Raises
    ------
    SourceError
    """
    data = path.read_bytes()
    if data[:4] == b"glTF" and len(data) >= 20:
        data = data[20 : 20 + int.from_bytes(data[12:16], "little")]
    try:
        table = json.loads(data)
        nodes = len(table.get("nodes", ()))
        most = max([0, *(int(a.get("count", 0)) for a in table.get("accessors", ()))])
    except (ValueError, TypeError, AttributeError):
        return  # the reader will say what is wrong with it
    if nodes > _NODES:
        raise SourceError(
            f"{path}: has {nodes:,} nodes, at most {_NODES:,} can be followed; join its parts"
        )
    if most > 10 * _TRIANGLES:
        raise SourceError(f"{path}: tells of {most:,} numbers in one array; export it again")


def _groups(loaded: Any, count: int) -> dict[str, FloatArray]:
    """Return the numbers that a PLY file gives each vertex besides its place, by their names."""
    told = getattr(loaded, "metadata", {}).get("_ply_raw", {}).get("vertex", {}).get("data")
    if told is None:
        return {}
    names = told.dtype.names if isinstance(told, np.ndarray) else tuple(told)
    columns = {n: np.asarray(told[n]).reshape(-1) for n in names or () if n not in PLY_OWN}
    return {
        unquote(n.removeprefix(PLY_GROUP)): c.astype(np.float64)
        for n, c in columns.items()
        if c.dtype.kind == "f" and len(c) == count
    }


def _parts(loaded: Any) -> Iterator[tuple[FloatArray, IntArray]]:
    """Yield vertices and triangles of every mesh in what the reader returned.

    A scene may use one mesh several times, each with its own (4, 4) matrix; points and
    lines are passed over.
    """
    if not hasattr(loaded, "geometry"):
        if len(getattr(loaded, "faces", ())):
            yield _plain(loaded.vertices, np.float64), _plain(loaded.faces, np.int64)
        return
    for node in loaded.graph.nodes_geometry:
        matrix, key = loaded.graph[node]
        mesh = loaded.geometry[key]
        if len(getattr(mesh, "faces", ())):
            vertices = np.asarray(mesh.vertices, float) @ matrix[:3, :3].T + matrix[:3, 3]
            yield vertices, _plain(mesh.faces, np.int64)


def _plain(values: Any, kind: Any) -> NDArray[Any]:
    """Return an array without the ties the reader's own have to what was loaded."""
    return np.asarray(values, kind).view(np.ndarray)
