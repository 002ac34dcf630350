"""From a spec to a finished piece."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import msgspec
import numpy as np

from ..context.element import Finding, Model, Progress
from ..context.materials import material_named
from ..context.medal import Medal
from ..context.stages import StageCache
from ..context.tolerance import Quality, tolerance_for
from ..errors import SolidError
from ..geometry.grid import HeightField
from ..geometry.solid import ZONES
from ..inspect import inspect, size_of, worst_first
from ..spec import MedalSpec, Unused, refuse_unused, unused
from .assemble import Assembled, assemble
from .loose import loose_bodies
from .weigh import Weight, asked_mass, assemble_to_mass, metal_cost, weighed


def build(
    spec: MedalSpec,
    quality: Quality = "fine",
    progress: Progress | None = None,
    *,
    models: Mapping[str, Model | HeightField] | None = None,
    cache: StageCache | None = None,
    told: Sequence[Unused] = (),
) -> Medal:
    """Build a piece.

    Parameters
    ----------
    spec : MedalSpec
    quality : {"fine", "draft"}
        How finely curves and reliefs are worked.
    progress : callable, optional
        Called with a fraction from 0 to 1 and a stage; raise `Cancelled` in it to stop.
    models : mapping, optional
        Meshes and height fields in memory for relief sources that are not files, by the text
        of `source`.
    cache : StageCache, optional
        Finished stages of earlier builds.
    told : sequence of Unused, optional
        Keys without effect that were found when the spec was read, for the report.

    Raises
    ------
    SpecError, SourceError
        One line: where in the spec, what is wrong, what would be right.
    SolidError
        If the piece does not come out as one closed body.
    """
    start = time.perf_counter()
    idle = {one.key: one for one in (*unused(spec), *told)}
    refuse_unused(tuple(idle.values()))
    tell: Progress = progress or (lambda fraction, label: None)
    material_named(spec.medal.metal)  # better refused now than after the work
    if spec.blank.core.metal:
        material_named(spec.blank.core.metal, "blank.core.metal")
    tolerance = tolerance_for(quality)
    cache = cache or StageCache()
    asked = spec

    def make(tried: MedalSpec, turn: int = 0) -> Assembled:
        low, high = (0.97 * (1.0 - 0.5**n) for n in (turn, turn + 1))  # each round half of the rest
        if wanted is None:
            high = 0.97
        return assemble(
            tried,
            tolerance,
            models=models or {},
            cache=cache,
            progress=lambda fraction, label: tell(low + fraction * (high - low), label),
        )

    wanted = asked_mass(spec)
    if wanted is None:
        done = make(spec)
    else:
        spec, done = assemble_to_mass(spec, wanted, tolerance, make)
    if done.closure.bodies != done.bodies:
        raise SolidError(
            f"the piece came out as {done.closure.bodies} separate bodies instead of "
            f"{done.bodies}: {loose_bodies(done)}; move them or make them larger"
        )
    weights = weighed(spec, done)
    medal = _medal(spec, done, sum(w.mass_g for w in weights))
    tell(0.98, "inspecting")
    notes = (Finding("unused-key", "note", one.message, one.key) for one in idle.values())
    found = worst_first((*done.findings, *inspect(medal, spec), *notes))
    findings = tuple(f for f in found if f.severity != "remark")
    seconds = {**done.seconds, "all": time.perf_counter() - start}
    report = _report(spec, quality, medal, done, weights, found, seconds)
    if len(weights) > 1:
        report["parts"] = [_part(spec, w) for w in weights]
    if asked is not spec:
        report["solved"] = {
            "asked_mass_g": asked.blank.mass,
            "asked_cost": asked.blank.cost,
            "thickness_mm": spec.blank.thickness,
        }
    tell(1.0, "done")
    return replace(medal, findings=findings, report=report)


def _medal(spec: MedalSpec, done: Assembled, mass_g: float) -> Medal:
    zones = [z for z in ZONES if any(label.zone == z for label in done.labels)]
    to_zone = np.array([zones.index(label.zone) for label in done.labels], dtype=np.uint8)
    to_side = np.array([label.side for label in done.labels], dtype=np.int8)
    return Medal(
        name=spec.medal.name,
        vertices=done.vertices,
        triangles=done.triangles,
        zone=to_zone[done.code],
        side=to_side[done.code],
        zone_names=tuple(zones),
        volume_mm3=done.closure.volume_mm3,
        mass_g=mass_g,
        is_closed=done.closure.is_closed,
    )


def _report(
    spec: MedalSpec,
    quality: Quality,
    medal: Medal,
    done: Assembled,
    weights: Sequence[Weight],
    found: tuple[Finding, ...],
    seconds: Mapping[str, float],
) -> dict[str, Any]:
    """Return what the report file says; every size is measured on the mesh."""
    material = material_named(spec.medal.metal)
    return {
        "name": medal.name,
        "slug": spec.medal.slug,
        "quality": quality,
        "process": spec.medal.process,
        "alignment": spec.medal.alignment,
        "metal": spec.medal.metal,
        "material": material.title,
        "density_g_cm3": material.density,
        "density_source": material.source,
        **size_of(medal, spec.blank).facts(),
        "volume_mm3": round(medal.volume_mm3, 6),
        "mass_g": round(medal.mass_g, 6),
        "metal_cost": metal_cost(spec, weights),
        "closed": medal.is_closed,
        "bodies": done.closure.bodies,
        "holes_through": done.closure.genus,
        "vertices": len(medal.vertices),
        "triangles": len(medal.triangles),
        "area_mm2": _areas(medal),
        "elements": dict(done.facts),
        "findings": [msgspec.to_builtins(f) for f in found if f.severity != "remark"],
        "remarks": [msgspec.to_builtins(f) for f in found if f.severity == "remark"],
        "seconds": {k: round(v, 3) for k, v in seconds.items()},
    }


def _part(spec: MedalSpec, weight: Weight) -> dict[str, Any]:
    return {
        "part": weight.part,
        "metal": weight.metal,
        "volume_mm3": round(weight.volume_mm3, 6),
        "mass_g": round(weight.mass_g, 6),
        "metal_cost": metal_cost(spec, [weight]),
    }


def _areas(medal: Medal) -> dict[str, float]:
    corner = medal.vertices[medal.triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.bincount(medal.zone, np.linalg.norm(cross, axis=1) / 2.0, len(medal.zone_names))
    return {name: round(float(a), 4) for name, a in zip(medal.zone_names, area, strict=True)}
