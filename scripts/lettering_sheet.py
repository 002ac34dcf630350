"""A sheet with pictures of set legends, to be judged by eye: ``python scripts/lettering_sheet.py``.

Raised and sunk, at the head and the foot, in a serif and a sans, with borders and marks.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from sheet import built, draw_sheet, run

ROUND = {"diameter": 40, "thickness": 3.2, "rim": {"width": 1.3, "height": 0.4}}
BOTH = "FENNICK LIGHT\nFOR THOSE IN PERIL"
LONG = (
    "Given by the keepers of the Fennick Light to all who in one hundred and fifty years "
    "never let it fail"
)
PIECES: list[tuple[str, str, dict]] = [
    ("Serif, raised, beads", "bronze", {
        "legend": [{"text": BOTH, "cap_height": 2.3, "separator": "star", "radius": 13.6}],
        "inscription": [{"text": "1876\n2026", "cap_height": 4.2, "height": 0.35}],
        "border": [{"kind": "beads", "count": 96}]}),
    ("Sans, raised, rope", "brass", {
        "legend": [{"text": BOTH, "cap_height": 2.2, "font": "sans-bold", "radius": 13.4,
                    "separator": "diamond"}],
        "inscription": [{"text": "CL", "font": "sans-black", "cap_height": 7, "height": 0.4}],
        "border": [{"kind": "rope"}]}),
    ("Serif, sunk", "sterling-silver", {
        "legend": [{"text": BOTH, "cap_height": 2.5, "work": "sunk", "depth": 0.3,
                    "separator": "dot"}],
        "inscription": [{"text": "150\nYEARS", "cap_height": 4, "work": "sunk"}]}),
    ("Chisel-cut", "fine-gold", {
        "legend": [{"text": BOTH, "cap_height": 2.6, "work": "sunk", "section": "vee",
                    "depth": 0.35, "separator": "diamond"}],
        "inscription": [{"text": "LUMEN", "cap_height": 5, "work": "sunk", "section": "vee",
                         "depth": 0.5}]}),
    ("Sans, sunk", "copper", {
        "legend": [{"text": BOTH, "cap_height": 2.4, "font": "sans-semibold", "work": "sunk",
                    "separator": "cross"}],
        "inscription": [{"text": "No. 27", "font": "sans-semibold", "cap_height": 4,
                         "work": "sunk"}]}),
    ("Rounded section", "bronze", {
        "legend": [{"text": BOTH, "cap_height": 2.5, "font": "sans-bold", "section": "rounded",
                    "height": 0.4, "draft": 10, "separator": "dot"}],
        "inscription": [{"text": "KEEP", "font": "sans-bold", "cap_height": 4.6,
                         "section": "rounded", "height": 0.4, "draft": 10}]}),
    ("Bent and filled to a sweep", "pewter", {
        "legend": [{"text": "KEEPERS OF THE LAMP", "cap_height": 3, "form": "bent",
                    "sweep": 230, "font": "sans-bold"},
                   {"text": "EST. 1876", "at": "bottom", "cap_height": 3, "form": "bent",
                    "font": "sans-bold"}]}),
    ("Words broken to a circle", "bronze", {
        "inscription": [{"text": LONG, "font": "serif", "cap_height": 2.1, "within": 15.0}],
        "border": [{"kind": "line"}]}),
    ("Exergue on a hollow field", "cupronickel", {
        "field": {"dish": 0.4},
        "legend": [{"text": "Amplius lumen", "font": "serif-semibold-italic", "cap_height": 2.9,
                    "follow": True, "tracking": 20}],
        "inscription": [{"text": "F · L", "cap_height": 6, "follow": True, "at": [0, -1]}],
        "exergue": [{"text": "E. RAE FECIT\nMMXXVI", "cap_height": 1.8, "level": 9.5,
                     "follow": True}]}),
]  # fmt: skip
TILE = 760


def tiles() -> Iterator:
    """Yield caption and picture of every piece."""
    from medalcore.render.picture import picture

    for title, metal, face in PIECES:
        medal = built(title, metal, {"blank": ROUND, "obverse": face})
        yield title, picture(medal, "obverse", size=TILE)


def draw(target: Path) -> None:
    """Build all pieces and write the sheet."""
    draw_sheet(target, tiles(), len(PIECES), 3, 26)


if __name__ == "__main__":
    sys.exit(run(__file__, __doc__, draw))
