"""Small pieces whose elements meet, and what is found on them."""

from functools import cache

import numpy as np
import shapely
from counting import counted

from medalcore import StageCache, build

BLANK = {"diameter": 40, "thickness": 3.2, "rim": {"width": 1.3, "height": 0.4}}
TOP = {"text": "FENNICK LIGHT"}
CACHE = StageCache()
RULES = ("lost", "meeting", "narrow-gap")


def piece(face, side="obverse", blank=BLANK, process="struck", **models):
    spec = counted({"medal": {"process": process}, "blank": blank, side: face})
    return build(spec, "draft", cache=CACHE, models=models)


def found_on(face, side="obverse", **more):
    medal = piece(face, side, **more)
    return [f for f in medal.findings if f.rule in RULES and f.severity != "note"]


def errors_on(face, **more):
    return [f for f in found_on(face, **more) if f.severity == "error"]


def square(tmp_path, name="square", colour="#000", extra=""):
    file = tmp_path / f"{name}.svg"
    file.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
        f'<rect width="100" height="100" fill="{colour}"/>{extra}</svg>'
    )
    return str(file)


BAR = {"text": "I", "font": "sans-bold", "cap_height": 6.0, "height": 0.3, "draft": 8.0}
"""A letter that is a plain rectangle in this typeface."""
SUNK_BAR = {"text": "I", "font": "sans-bold", "cap_height": 6.0, "work": "sunk", "draft": 8.0}


@cache
def drawn_bar(at=(0.0, 0.0)):
    """Return the drawn outline of that letter, from its top on a finished piece."""
    medal = piece({"inscription": [{**BAR, "at": list(at)}]})
    corner = medal.vertices[medal.triangles]
    of_letter = medal.zone == medal.zone_names.index("inscription")
    high = medal.points(of_letter)[:, 2].max()
    top = of_letter & (np.abs(corner[..., 2] - high) < 1e-4).all(axis=1)
    plan = corner[top][..., :2]
    return shapely.union_all(shapely.polygons(plan), grid_size=1e-6)


def plan_of(medal, zone):
    """Return what of a zone is seen on the obverse, as one shapely area."""
    corner = medal.vertices[medal.triangles]
    of = (medal.zone == medal.zone_names.index(zone)) & (medal.side == 1)
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2] > 1e-9
    return shapely.union_all(shapely.polygons(corner[of & up][..., :2]), grid_size=1e-6)
