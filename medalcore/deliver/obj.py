"""Wavefront OBJ with its material library: one closed mesh, a material per zone."""

from __future__ import annotations

from ..medal import Medal
from .picture_metals import look_of
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
    for code, zone in enumerate(medal.zone_names):
        text.append(f"g {zone}\nusemtl {zone}\n")
        text += integer_rows("f %d %d %d\n", medal.triangles[medal.zone == code] + 1)
    return "".join(text).encode("utf-8")


def mtl_bytes(medal: Medal) -> bytes:
    """Return the materials of the zones, all of the piece's own metal."""
    look = look_of(str(medal.report.get("metal", "bronze")))
    shine = 2.0 / look.roughness**2 - 2.0  # Blinn-Phong exponent of a GGX alpha (Walter 2007)
    colour = " ".join(f"{c:.3f}" for c in look.reflectance)
    matt = (max(b, 0.12 * r) for b, r in zip(look.body, look.reflectance, strict=True))
    body = " ".join(f"{c:.3f}" for c in matt)
    one = "newmtl {}\nKa 0 0 0\nKd {}\nKs {}\nNs {:.1f}\nillum 2\n"
    return "".join(one.format(zone, body, colour, shine) for zone in medal.zone_names).encode()


def _one_line(name: str) -> str:
    return " ".join(name.split())
