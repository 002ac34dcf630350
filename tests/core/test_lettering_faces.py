"""Every printable character of faces of many kinds as a closed, exactly drafted solid.

The packaged faces are always there; the others are tried where they are installed (on
Debian: fonts-dejavu, fonts-hosny-amiri, fonts-lohit-deva, fonts-dancingscript,
fonts-lobstertwo, fonts-inter-variable, fonts-cantarell): a serif, a sans, a fixed-width, a
script, a display, a variable, an Arabic and a Devanagari face.
"""

import math
import re
import unicodedata

import numpy as np
import pytest

from medalcore.elements.lettering.fonts import find_typeface
from medalcore.elements.lettering.shaping import read_axes
from medalcore.errors import SourceError
from medalcore.geometry import contour as C
from medalcore.geometry.closure import closure
from medalcore.geometry.loft import drafted
from medalcore.geometry.solid import arrays_of

PACKAGED = [
    "serif-extralight", "serif", "serif-bold-italic", "serif-black",
    "sans-extralight", "sans", "sans-italic", "sans-black",
]  # fmt: skip
INSTALLED = [
    "DejaVu Serif", "DejaVu Sans Mono Bold", "Amiri", "Lohit Devanagari", "Dancing Script Bold",
    "Lobster Two Bold", "Inter wght=870, slnt=-7", "Cantarell Extra Bold",
]  # fmt: skip


def _printable(typeface, latin):
    """Return printable characters up to a code, and of Arabic and Devanagari what there is."""
    for code in sorted(typeface.font.face.unicodes):
        if unicodedata.category(chr(code))[0] in "LMNPS" and (
            code < latin or 0x600 <= code < 0x6FF or 0x900 <= code < 0x980
        ):
            yield chr(code)


def _faults(outline, height, draft):
    """Return what is wrong with the drafted solid of an outline; empty if nothing is."""
    solid = drafted(outline, 0.0, height, draft, "legend")
    vertices, triangles, _, _ = arrays_of(solid)
    proof = closure(vertices + np.array([13.37, -7.77, 1.25]), triangles)
    corner = vertices[triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    size = np.linalg.norm(cross, axis=1)
    lean = np.degrees(np.arcsin(np.clip(cross[:, 2] / size, -1, 1)))
    wall = np.abs(np.abs(lean) - 90) > 0.05
    off = size[wall & (np.abs(lean - math.degrees(draft)) > 0.1)].sum() / size[wall].sum()
    # The volume lies between those of the round and of the mitred offsets (Simpson's rule).
    # Walls that lean far close counters at some height, where the area has a kink.
    steps = 4 if draft < math.radians(20.0) else 8
    weights = np.array([1, 4, *[2, 4] * (steps // 2 - 1), 1]) / (3 * steps)
    volumes = []
    for join in ("round", "mitre"):
        area = [
            C.area(C.offset(outline, t * height * math.tan(draft), join, limit=3.0, tolerance=1e-3))
            for t in np.linspace(0, 1, steps + 1)
        ]
        volumes.append(float(weights @ area) * height)
    inside = volumes[0] * (1 - 1e-3) <= proof.volume_mm3 <= volumes[1] * (1 + 1e-3)
    return [name for name, ok in (
        (f"not closed: {proof}", proof.is_closed), (f"lean off on {off:.1e}", off < 1e-3),
        (f"volume {proof.volume_mm3} not in {volumes}", inside),
    ) if not ok]  # fmt: skip


def _check(name, draft, latin):
    family, axis, places = name.partition(" wght")
    try:
        typeface = find_typeface(family, read_axes(f"wght{places}") if axis else None)
    except SourceError as error:
        if not re.search("neither a file nor an installed family|no axes to vary", str(error)):
            raise
        pytest.skip(f"{name} is not installed: {error}")
    scale = 2.0 / typeface.cap_units
    count, wrong = 0, {}
    for character in _printable(typeface, latin):
        drawn = typeface.outline(typeface.glyph(character), 0.002 / scale)
        if drawn:
            count += 1
            faults = _faults(tuple(c * scale for c in drawn), 0.35, math.radians(draft))
            if faults:
                wrong[character] = faults
    assert count >= 90
    assert not wrong


@pytest.mark.slow
@pytest.mark.parametrize("name", PACKAGED)
def test_every_character_of_the_packaged_faces(name):
    _check(name, 15.0 if name.endswith("black") else 8.0, 0x7F)


@pytest.mark.slow
@pytest.mark.parametrize("name", INSTALLED)
@pytest.mark.parametrize(
    ("draft", "latin"), [(8.0, 0x180), pytest.param(30.0, 0x7F, marks=pytest.mark.once)]
)
def test_every_character_of_installed_faces(name, draft, latin):
    """At the steepest draft the accented letters, which add little, are left out."""
    _check(name, draft, latin)
