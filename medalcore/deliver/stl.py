"""Binary STL: triangles and nothing else."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..medal import Medal

_FACET = np.dtype([("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(medal: Medal) -> bytes:
    """Return the piece as a binary STL file.

    80 bytes of header, a little-endian count, then 50 bytes per facet: 84 + 50 n in all.
    The header must not begin with "solid", by which readers know the text form (Library of
    Congress, format description fdd000505). STL knows no unit; ours is the millimetre.

    Returns
    -------
    data : bytes
        The same piece gives the same bytes.
    """
    single = medal.vertices.astype("<f4") + np.float32(0.0)  # −0 becomes 0
    facets = np.zeros(len(medal.triangles), dtype=_FACET)
    facets["corner"] = single[medal.triangles]
    facets["normal"] = unit_normals(single.astype(np.float64), medal.triangles)
    name = medal.name.encode("ascii", "replace").decode()
    header = f"Binary STL, unit millimetre: {name}".encode()[:80].ljust(80)
    return header + np.array(len(facets), dtype="<u4").tobytes() + facets.tobytes()


def unit_normals(
    vertices: NDArray[np.float64], triangles: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Return the outward unit normals of triangles.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    triangles : (m, 3) int64
        Counter-clockwise seen from outside.

    Returns
    -------
    normals : (m, 3) float64
        Zero for a triangle without area.
    """
    first, second, third = (vertices[triangles[:, i]] for i in range(3))
    cross = np.cross(second - first, third - first)
    length = np.linalg.norm(cross, axis=1, keepdims=True)
    unit: NDArray[np.float64] = cross / np.where(length > 0, length, 1.0)
    return unit
