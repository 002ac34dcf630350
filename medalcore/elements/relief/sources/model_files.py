"""Model files that are read here: binary STL as it is found, and 3MF."""

from __future__ import annotations

import struct
import zipfile
from collections.abc import Iterator
from typing import Any
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from ....errors import SourceError
from ....geometry.types import FloatArray, IntArray

Part = tuple[FloatArray, IntArray]

_HEAD = 84  # bytes before the triangles of a binary STL: 80 of text, 4 of their number
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_DEEP = 32  # components of components of a 3MF
_USES = 2000  # of meshes by items and components
_LARGEST = 1 << 31  # bytes of a model in a 3MF


def binary_stl(path: str) -> Part | None:
    """Read a binary STL file; None if it is not binary.

    Many begin with ``solid`` as text ones do, or have something after their triangles.

    Raises
    ------
    SourceError
        If it holds fewer triangles than it says.
    """
    with open(path, "rb") as handle:
        head = handle.read(1024)
        size = handle.seek(0, 2)
        if len(head) < _HEAD or (head[:5].lower() == b"solid" and b"facet" in head):
            return None
        (count,) = struct.unpack("<I", head[80:_HEAD])
        there = (size - _HEAD) // _FACET.itemsize
        text = all(32 <= byte < 127 or byte in b"\t\r\n" for byte in head)
        if text or (count > there and size < _HEAD + _FACET.itemsize):
            return None
        if count > there:
            raise SourceError(
                f"{path}: is cut short: it tells of {count} triangles and holds {there}; "
                "export or copy it again"
            )
        handle.seek(_HEAD)
        facets = np.fromfile(handle, _FACET, count)
    corners = facets["corners"].reshape(-1, 3).astype(np.float64)
    return corners, np.arange(len(corners), dtype=np.int64).reshape(-1, 3)


def three_mf(path: str) -> Iterator[Part]:
    """Yield the meshes of a 3MF file as its build puts them together.

    3MF Core Specification 1.3: objects (chapter 4), components (4.2), build items (3.4), and
    transforms of twelve numbers, a (4, 3) matrix by rows (3.3).

    Raises
    ------
    SourceError
        If there is no model in it.
    """
    with zipfile.ZipFile(path) as archive:
        named = [n for n in archive.namelist() if n.lower().endswith(".model")]
        roots = {}
        for name in named:
            if archive.getinfo(name).file_size > _LARGEST:
                raise SourceError(f"{path}: its model is larger than can be read")
            with archive.open(name) as handle:
                roots["/" + name.lstrip("/")] = _plain(ElementTree.parse(handle).getroot())
    objects = {
        (part, found.get("id")): found for part, root in roots.items() for found in _objects(root)
    }
    main = next((n for n in roots if n.lower() == "/3d/3dmodel.model"), next(iter(roots), ""))
    if not main:
        raise SourceError(f"{path}: has no model in it; export it again")
    uses = 0
    for item in roots[main].findall("build/item"):
        for found in _meshes(objects, item, main, _matrix(item), path, 0):
            uses += 1
            if uses > _USES:
                raise SourceError(
                    f"{path}: uses its meshes more than {_USES:,} times; join its parts"
                )
            yield found


def _plain(root: ElementTree.Element) -> ElementTree.Element:
    """Return a tree without the namespaces in its names."""
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
        for key in [k for k in element.attrib if "}" in k]:
            element.attrib[key.rpartition("}")[2]] = element.attrib.pop(key)
    return root


def _objects(root: ElementTree.Element) -> list[ElementTree.Element]:
    return root.findall("resources/object")


def _matrix(element: ElementTree.Element) -> FloatArray:
    told = element.get("transform")
    given = np.array(told.split(), dtype=np.float64) if told else np.eye(4)[:, :3].ravel()
    return given.reshape(4, 3)


def _meshes(
    objects: dict[tuple[str, str | None], ElementTree.Element],
    use: ElementTree.Element,
    part: str,
    matrix: FloatArray,
    path: str,
    depth: int,
) -> Iterator[Part]:
    """Yield the meshes of one object that is used, and of its components."""
    part = use.get("path", part)
    found = objects.get((part, use.get("objectid")))
    if found is None or depth > _DEEP:
        raise SourceError(f"{path}: uses an object that is not there; export it again")
    mesh = found.find("mesh")
    if mesh is not None:
        vertices = _numbers(mesh.findall("vertices/vertex"), ("x", "y", "z"), np.float64)
        triangles = _numbers(mesh.findall("triangles/triangle"), ("v1", "v2", "v3"), np.int64)
        if len(triangles):
            yield vertices @ matrix[:3] + matrix[3], triangles
    for component in found.findall("components/component"):
        own = _matrix(component)
        both = np.vstack([own[:3] @ matrix[:3], own[3] @ matrix[:3] + matrix[3]])
        yield from _meshes(objects, component, part, both, path, depth + 1)


def _numbers(
    elements: list[ElementTree.Element], names: tuple[str, ...], kind: type
) -> NDArray[Any]:
    rows = [[element.attrib[name] for name in names] for element in elements]
    return np.array(rows, dtype=kind).reshape(-1, len(names)) if rows else np.zeros((0, 3), kind)
