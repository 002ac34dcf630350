"""One face of one font: its size, its characters and its outlines.

HarfBuzz reads the font, so that outlines, advances and variations are the same ones that
the shaping sees.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import uharfbuzz as hb

from ...errors import SourceError
from ...geometry.contour import Contours, Outline, cleaned
from ...system.file_access import why_unreadable

_FLAT_CAPITALS = "HIETZ"
_KEPT = 2000  # outlines kept for each typeface


@dataclass(frozen=True, eq=False)
class Typeface:
    """A font ready for shaping.

    Attributes
    ----------
    name : str
        Family and style as the font tells them.
    file : Path
    units : int
        Font units per em.
    cap_units : float
        Height of the flat capitals, font units.
    font : uharfbuzz.Font
    """

    name: str
    file: Path
    units: int
    cap_units: float
    font: hb.Font
    _outlines: dict[tuple[int, float], Contours] = field(default_factory=dict)

    def glyph(self, character: str) -> int:
        """Return the glyph of a character, 0 if there is none."""
        return int(self.font.get_nominal_glyph(ord(character)) or 0)

    def lacks(self, text: str) -> str:
        """Return the characters of a text that the font has no glyph for, each once."""
        return "".join(c for c in dict.fromkeys(text) if not self.glyph(c))

    def features(self) -> frozenset[str]:
        """Return the tags of the OpenType features the font has."""
        face = self.font.face
        found: set[str] = set()
        for table in ("GSUB", "GPOS"):
            for number in range(len(face.get_table_script_tags(table))):
                found.update(face.get_language_feature_tags(table, number))
                for language in range(len(face.get_script_language_tags(table, number))):
                    found.update(face.get_language_feature_tags(table, number, language))
        return frozenset(found)

    def outline(self, glyph: int, tolerance: float) -> Contours:
        """Return a glyph's clean outline in font units; overlapping parts are united.

        Parameters
        ----------
        glyph : int
        tolerance : float
            Largest distance between a curve and its chords, font units.
        """
        key = (glyph, tolerance)
        if key not in self._outlines:
            if len(self._outlines) >= _KEPT:  # a slider being dragged asks for ever new sizes
                self._outlines.clear()
            pen = _Pen(Outline(tolerance))
            self.font.draw_glyph_with_pen(glyph, pen)
            drawn = pen.outline.contours()
            self._outlines[key] = cleaned(drawn, least=tolerance / 20.0) if drawn else ()
        return self._outlines[key]


class _Pen:
    """Draws a glyph into an `Outline` (the names are those of fontTools' pen protocol)."""

    def __init__(self, outline: Outline) -> None:
        self.outline = outline

    def moveTo(self, point: tuple[float, float]) -> None:
        self.outline.move(point)

    def lineTo(self, point: tuple[float, float]) -> None:
        self.outline.line(point)

    def qCurveTo(self, control: tuple[float, float], point: tuple[float, float]) -> None:
        self.outline.quad(control, point)

    def curveTo(self, *points: tuple[float, float]) -> None:
        self.outline.curve(*points)

    def closePath(self) -> None:
        self.outline.close()


def open_typeface(file: Path, index: int = 0, axes: Mapping[str, float] | None = None) -> Typeface:
    """Open one face of a font file.

    Parameters
    ----------
    file : Path
        TTF, OTF, or a TTC or OTC collection.
    index : int
        Which face of a collection.
    axes : mapping, optional
        Places on a variable font's axes, by tag or by name.

    Raises
    ------
    SourceError
        If the file is no font, the collection is shorter, or an axis is unknown or left.
    """
    if reason := why_unreadable(file):
        raise SourceError(f"font {file}: {reason}")
    stamp = file.stat().st_mtime_ns
    try:
        return _open(file, stamp, index, tuple(sorted((axes or {}).items())))
    except UnicodeDecodeError:
        raise SourceError(f"font {file}: is damaged (its tables have no names)") from None


@lru_cache(maxsize=16)
def _open(file: Path, stamp: int, index: int, axes: tuple[tuple[str, float], ...]) -> Typeface:
    """Open by content: the time stamp makes a changed file a new one."""
    try:
        blob = hb.Blob.from_file_path(str(file))
    except (OSError, hb.HarfBuzzError) as error:
        raise SourceError(f"font {file}: cannot be read ({error})") from None
    count = int(hb.Face(blob, 0).count)
    if count == 0:
        raise SourceError(f"font {file}: is not a TrueType or OpenType font")
    if not 0 <= index < count:
        raise SourceError(f"font {file}#{index}: the file holds faces 0 to {count - 1}")
    face = hb.Face(blob, index)
    if not face.glyph_count or not {"glyf", "CFF ", "CFF2"} & set(face.table_tags):
        raise SourceError(f"font {file}: holds no outlines (a font of pictures cannot be cut)")
    font = hb.Font(face)
    if axes:
        font.set_variations(_axis_values(file, face, axes))
    family, style = names_of(face)
    units = int(face.upem)
    return Typeface(f"{family} {style}".strip(), file, units, _cap_height(font, units), font)


def names_of(face: hb.Face) -> tuple[str, str]:
    """Return family and style: the typographic names (16, 17) before the basic ones (1, 2)."""
    family = face.get_name(16) or face.get_name(1) or ""
    style = (face.get_name(17) if face.get_name(16) else None) or face.get_name(2) or ""
    return str(family), str(style)


def _cap_height(font: hb.Font, units: int) -> float:
    """Return the height of the capitals: measured, or as the font says, or as is usual."""
    for capital in _FLAT_CAPITALS:
        glyph = font.get_nominal_glyph(ord(capital))
        extents = font.get_glyph_extents(glyph) if glyph else None
        if extents and extents.y_bearing > 0:
            return float(extents.y_bearing)
    told = font.get_metric_position(hb.OTMetricsTag.CAP_HEIGHT)
    return float(told) if told else 0.7 * units


def _axis_values(file: Path, face: hb.Face, axes: Iterable[tuple[str, float]]) -> dict[str, float]:
    """Return axis values by tag, or say which axes there are."""
    infos = face.axis_infos
    if not infos:
        raise SourceError(f"font {file}: has no axes to vary")
    known = {i.tag: i for i in infos}
    by_name = {str(face.get_name(i.name_id) or "").lower(): i.tag for i in infos}
    placed: dict[str, float] = {}
    for key, value in axes:
        tag = key if key in known else by_name.get(key.lower(), "")
        if not tag:
            there = ", ".join(f"{i.tag} {i.min_value:g} to {i.max_value:g}" for i in infos)
            raise SourceError(f"font {file}: has no axis '{key}'; its axes are {there}")
        low, high = known[tag].min_value, known[tag].max_value
        if not low <= value <= high:
            raise SourceError(
                f"font {file}: axis {tag} runs from {low:g} to {high:g}, not {value:g}"
            )
        placed[tag] = value
    return placed
