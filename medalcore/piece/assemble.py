"""Bring the elements of both faces and the blank together: the only booleans between them."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, TypeVar

import numpy as np

from ..context.containment import keep_clear, keep_on, over_field, silhouette
from ..context.element import Built, Context, Finding, Model, Progress, Unit
from ..context.ground import Ground, placement
from ..context.stages import StageCache, Stages
from ..context.tolerance import TOLERANCES, Tolerance
from ..elements.blank import Blanked, build_blank
from ..elements.blank.outline import outline_of
from ..errors import MedalError, SolidError, SpecError
from ..geometry.closure import Closure, closure, mend
from ..geometry.contour import Contours, bounds
from ..geometry.grid import HeightField
from ..geometry.solid import Label, Side, Solid, arrays_of, united, without
from ..geometry.types import FloatArray, IntArray
from ..spec import Border, Face, Legend, MedalSpec, Relief, Table
from .field_steps import drilled
from .free_field import AROUND, free_field, within_borders
from .interference import interferences
from .registry import ELEMENTS, files_of
from .standing import Finished, Standing

T = TypeVar("T")

_LOOP_MM = 0.05
"""By how much more than the outline's own extent shows that something is hung on it."""

_ROOM_MM = 0.8
"""How far below the lowest field an element may sink its foot where it gets along with that. None
needs more, except one that is cut deep."""

_TIGHTEN_MM = (1e-5, 3e-5, 1e-4, 3e-4)
"""How much short edges may be drawn together, mm, until the float32 mesh closes. A step of
float32 at 20 mm is 2e-6 mm (IEEE 754); the last value is still far below what is visible."""


@dataclass(frozen=True, eq=False)
class Assembled:
    """The piece as arrays, and what was found on the way.

    Attributes
    ----------
    vertices : (n, 3) float64
        mm, exactly representable as float32.
    triangles : (m, 3) int64
    code : (m,) int64
        Index into `labels`.
    labels : tuple of Label
    closure : Closure
    facts : mapping
        Measured facts by spec path.
    findings : tuple of Finding
    seconds : mapping of str to float
        Time per stage.
    bodies : int
        How many closed bodies the piece is to have.
    units : tuple of (path, Unit)
        What the units of `labels` are.
    """

    vertices: FloatArray
    triangles: IntArray
    code: IntArray
    labels: tuple[Label, ...]
    closure: Closure
    facts: Mapping[str, Any]
    findings: tuple[Finding, ...]
    seconds: Mapping[str, float]
    bodies: int = 1
    units: tuple[tuple[str, Unit], ...] = ()


@dataclass
class _Log:
    """What piles up while one piece is assembled; lives only inside `assemble`."""

    facts: dict[str, Any] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    seconds: dict[str, float] = field(default_factory=dict)
    units: list[tuple[str, Unit]] = field(default_factory=list)
    standing: list[Standing] = field(default_factory=list)

    def add(self, path: str, built: Built | Blanked) -> None:
        if built.facts:
            self.facts[path] = dict(built.facts)
        # an element knows its zone, not which of several of its kind it is
        own = "[" in path
        for f in built.findings:
            is_place = "." in f.where or (f.where and not own)
            self.findings.append(f if is_place else replace(f, where=path))

    def spent(self, stage: str, since: float) -> None:
        self.seconds[stage] = self.seconds.get(stage, 0.0) + time.perf_counter() - since


def assemble(
    spec: MedalSpec,
    tolerance: Tolerance,
    *,
    models: Mapping[str, Model | HeightField],
    cache: StageCache,
    progress: Progress,
) -> Assembled:
    """Build every element of `spec` and unite them into one closed solid.

    Raises
    ------
    SpecError, SourceError
        With the path of the element in front.
    SolidError
        If the union does not close.
    """
    log = _Log()
    start = time.perf_counter()
    progress(0.0, "blank")
    stages = Stages(cache, models)
    files = [*files_of(spec.edge), *_drawings(spec)]
    contents = [stages.content(name) for name in files]
    parts = spec.edge, contents, spec.medal.alignment, _blank_faces(spec), tolerance
    blank = stages.get("blank", parts, spec.blank, lambda: build_blank(spec, tolerance))
    log.add("blank", blank)
    log.spent("blank", start)
    adds, cuts, grounds = _elements(spec, blank, tolerance, models, stages, progress, log)
    start = time.perf_counter()
    progress(0.86, "joining the parts")
    body = without(united([without(blank.solid, grounds), *adds]), [*blank.cutters, *cuts])
    log.spent("union", start)
    start = time.perf_counter()
    progress(0.95, "proving it closed")
    vertices, triangles, code, labels, proof = seal(body)
    log.spent("closing", start)
    start = time.perf_counter()
    progress(0.98, "looking where elements meet")
    grounds_of = {
        s.first + n for s in log.standing if s.action == "ground" for n in range(len(s.units))
    }
    finished = Finished.of(vertices, triangles, code, labels, grounds_of)
    log.findings += interferences(finished, log.standing, spec.medal.process)
    for side, ground in (("obverse", blank.obverse), ("reverse", blank.reverse)):
        log.findings += drilled(side, ground, log.standing)
    log.spent("interference", start)
    return Assembled(
        vertices,
        triangles,
        code,
        labels,
        proof,
        log.facts,
        tuple(log.findings),
        log.seconds,
        blank.bodies,
        tuple(log.units),
    )


def _blank_faces(spec: MedalSpec) -> list[Any]:
    """Return what the blank looks at on the faces: all but the tables elements are made of."""
    names = [n for n in Face.__struct_fields__ if n not in ELEMENTS]
    return [getattr(face, n) for face in (spec.obverse, spec.reverse) for n in names]


def _drawings(spec: MedalSpec) -> list[str]:
    """Return the files of outlines that lie within the piece."""
    panels = (*spec.obverse.field.panel, *spec.reverse.field.panel)
    names = [spec.blank.core.drawing, *(p.drawing for p in panels)]
    return [name for name in names if name]


def _jobs(spec: MedalSpec, blank: Blanked) -> Iterator[tuple[str, str, Table, Ground, Side]]:
    """Yield path, kind, table, ground and side of every element, in a fixed order."""
    sides: tuple[tuple[str, Face, Ground, Side], ...] = (
        ("obverse", spec.obverse, blank.obverse, 1),
        ("reverse", spec.reverse, blank.reverse, -1),
    )
    for name, face, ground, side in sides:
        for kind in ELEMENTS:
            for i, table in enumerate(getattr(face, kind)):
                yield f"{name}.{kind}[{i}]", kind, table, ground, side


def _elements(
    spec: MedalSpec,
    blank: Blanked,
    tolerance: Tolerance,
    models: Mapping[str, Model | HeightField],
    stages: Stages,
    progress: Progress,
    log: _Log,
) -> tuple[list[Solid], list[Solid], list[Solid]]:
    """Build all elements; return what is added, cut, and cut from the blank before that.

    All in piece coordinates.
    """
    adds: list[Solid] = []
    cuts: list[Solid] = []
    clears: list[Solid] = []
    grounds: list[Solid] = []
    above: list[Solid] = []  # what keeps its surroundings clear of everything in `adds`
    used: set[int] = set()
    jobs = list(_jobs(spec, blank))
    around: dict[Side, list[Built]] = {1: [], -1: []}
    borders: dict[Side, list[tuple[Border, Built]]] = {1: [], -1: []}
    outline = silhouette(blank.solid)
    edge = _edge(spec, outline)
    for n, (path, kind, table, ground, side) in enumerate(jobs):
        start = time.perf_counter()
        low, high = (0.05 + 0.8 * (n + i) / len(jobs) for i in (0, 1))

        def report(fraction: float, label: str, low: float = low, high: float = high) -> None:
            progress(low + fraction * (high - low), label)

        report(0.0, path)
        if kind == "relief":
            ground = free_field(ground, spec.blank.thickness / 2.0, around[side])
        if isinstance(table, Legend) and not table.radius:
            ground = within_borders(ground, table, borders[side])
        context = Context(ground, tolerance, models, report, stages)
        built, level = _named(path, partial(_built, kind, table, context))
        built = _within(table, built, ground, level)
        log.add(path, built)
        cure = next((f.message for f in built.findings if f.rule.endswith("-over-rim")), "")
        cure = cure.rpartition("; ")[2]
        place = placement(spec.medal.alignment, side)
        place[:, 3] += place[:, 2] * level
        if built.footprint is not None:
            points = built.footprint @ place[:2, :2].T + place[:2, 3]
            _named(path, partial(keep_clear, edge, points, built.keep, cure))
        clearing = any(part.action == "clear" for part in built.parts)
        added = above if clearing else adds
        group = {"add": added, "cut": cuts, "clear": clears, "ground": grounds}
        for part in built.parts:
            # the cache gives equal elements on both faces the same solid
            solid = part.solid.renewed() if used & part.solid.labels.keys() else part.solid
            used |= solid.labels.keys()
            placed = solid.on_side(side, len(log.units)).moved(place)
            log.standing.append(
                Standing(
                    path, kind, side, part.action, placed, place, replace(ground, level=0.0),
                    len(log.units), part.units, built.facts, getattr(table, "overlap", False),
                )
            )  # fmt: skip
            log.units += [(path, unit) for unit in part.units]
            if part.action == "add":
                _named(path, partial(keep_on, outline, placed, cure))
            group[part.action].append(placed)
        if kind in AROUND:
            around[side].append(built)
        if isinstance(table, Border):
            borders[side].append((table, built))
        log.spent(kind, start)
    if clears and adds:
        adds = [without(united(adds), clears)]
    return adds + above, cuts, grounds


def _built(kind: str, table: Table, context: Context) -> tuple[Built, float]:
    """Build an element, or take it from the store; also return the level it is to be put at.

    It is built on a field at level 0 and, where it can be, with no more room below than it
    needs: a change of the thickness or of the other face then only moves it.
    """
    stages, fonts = context.stages, [context.stages.content(name) for name in files_of(table)]

    def on(ground: Ground) -> Built:
        make = partial(ELEMENTS[kind], table, replace(context, ground=ground))
        return stages.get(kind, (ground, context.tolerance, fonts), table, make)

    level = context.ground.level
    exact = replace(context.ground, level=0.0, floor=context.ground.floor - level)
    enough = replace(exact, floor=max(exact.floor, exact.lowest - _ROOM_MM))
    try:
        return on(enough), level
    except SpecError:
        if enough.floor == exact.floor:
            raise
    return on(exact), level


def _within(table: Table, built: Built, ground: Ground, level: float) -> Built:
    """Return an element with a finding if it is a relief that stands past the field."""
    if not isinstance(table, Relief):
        return built
    at_zero = replace(ground, level=ground.level - level)
    over = [over_field(at_zero, part.solid, table.fit, table.at) for part in built.parts]
    return replace(built, findings=(*built.findings, *(f for f in over if f)))


def _edge(spec: MedalSpec, outline: Contours) -> Contours:
    """Return the outline of the piece as it is however finely it is worked; loops as they are."""
    exact = outline_of(spec.blank, TOLERANCES["fine"])
    off = bounds(exact) - bounds(outline)
    return exact if np.abs(off).max() < _LOOP_MM else outline


def _named(path: str, make: Callable[[], T]) -> T:
    """Run an element's builder; put its path before what it complains about."""
    try:
        return make()
    except SpecError as error:
        raise error.at(path) from None
    except MedalError as error:
        if isinstance(error, SolidError) or not str(error).startswith(path):
            error.args = (f"{path}: {error}",)
        raise


def _in_order(
    vertices: FloatArray, triangles: IntArray, code: IntArray
) -> tuple[FloatArray, IntArray, IntArray]:
    """Sort vertices and triangles by what they are, not by when their parts were made.

    The boolean library orders triangles by original id, and a part from the cache carries an
    older id than one made afresh; files must not show that.
    """
    order = np.lexsort(vertices.T)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    tri = rank[triangles]
    first = np.argmin(tri, axis=1)[:, None]
    tri = np.take_along_axis(tri, (first + np.arange(3)) % 3, axis=1)
    n = len(vertices)
    by = np.lexsort((tri[:, 1] * n + tri[:, 2], code * n + tri[:, 0]))
    return vertices[order], tri[by], code[by]


def seal(
    body: Solid,
) -> tuple[FloatArray, IntArray, IntArray, tuple[Label, ...], Closure]:
    """Return the piece as float32-exact arrays that are proven closed.

    Raises
    ------
    SolidError
        If no harmless tightening closes it.
    """
    for tighten in (0.0, *_TIGHTEN_MM):
        tried = Solid(body.manifold.simplify(tighten), body.labels) if tighten else body
        vertices, triangles, code, labels = arrays_of(tried)
        vertices, triangles, code = mend(vertices, triangles, code)
        proof = closure(vertices, triangles)
        if proof.is_closed:
            return *_in_order(vertices, triangles, code), labels, proof
    raise SolidError(
        f"the piece does not close: {proof.bad_edges} edges not shared by two triangles, "
        f"{proof.collapsed + proof.flat} triangles without area; move or resize an element a little"
    )
