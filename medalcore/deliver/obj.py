"""Wavefront OBJ with its material library: one closed mesh, a material per zone and metal."""

from __future__ import annotations

from ..context.medal import Medal
from ..render.parts import by_metal
from .text import exact_rows, integer_rows


def obj_bytes(medal: Medal, library: str) -> bytes:
    """Return the piece as an OBJ file, in mm, with coordinates exact as float32.

    Parameters
    ----------
    medal : Medal
    library : str
        Name of the file with the materials, see `mtl_bytes`.
    """
    text = [f"# {_one_line(medal.name)}, unit millimetre\nmtllib {library}\no piece\n"]
    text += exact_rows("v %s %s %s\n", medal.vertices)
    for part in by_metal(medal):
        for code, zone in enumerate(medal.zone_names):
            triangles = medal.triangles[(medal.zone == code) & part.triangles]
            if len(triangles):
                text.append(f"g {part.prefix}{zone}\nusemtl {part.prefix}{zone}\n")
                text += integer_rows("f %d %d %d\n", triangles + 1)
    return "".join(text).encode("utf-8")


def mtl_bytes(medal: Medal) -> bytes:
    """Return the materials of the zones, those of a core in its own metal."""
    one = "newmtl {}\nKa 0 0 0\nKd {}\nKs {}\nNs {:.1f}\nillum 2\n"
    text = []
    for part in by_metal(medal):
        look = part.look
        shine = 2.0 / look.roughness**2 - 2.0  # Blinn-Phong exponent of a GGX alpha (Walter 2007)
        colour = " ".join(f"{c:.3f}" for c in look.reflectance)
        matt = (max(b, 0.12 * r) for b, r in zip(look.body, look.reflectance, strict=True))
        body = " ".join(f"{c:.3f}" for c in matt)
        names = (f"{part.prefix}{zone}" for zone in medal.zone_names)
        text += [one.format(name, body, colour, shine) for name in names]
    return "".join(text).encode()


def _one_line(name: str) -> str:
    return " ".join(name.split())
