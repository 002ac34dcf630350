"""Binary STL: triangles and nothing else."""

from __future__ import annotations

import numpy as np

from ..context.medal import Medal
from ..geometry.mesh_normals import unit_normals

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
