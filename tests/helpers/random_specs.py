# ruff: noqa: E501 (tables are read better in long lines)
"""Random specs over the whole schema: every key by its declared kind, limits and `when`.

What a spec says of itself is all that is known here, but for a table of usual shares of the
piece's size, so that many come out as pieces and not all as refusals.
"""

from __future__ import annotations

import math
import random
import re
from collections.abc import Mapping
from typing import Any

import msgspec

from medalcore.context.materials import materials
from medalcore.spec import Key, MedalSpec, keys_of, unused

WORDS = ("HONOUR ET PATRIE", "1926", "II", "A", "FOR MERIT", "ŁÓDŹ ÉTÉ", "MCMXCIX\nII", "···", "%&§@",
         "The quick brown fox", "iiii", "ΑΒΓ", "½ ¾ ±", "Fennick Light")  # fmt: skip
FONTS = ("serif", "serif-bold", "sans", "sans-bold", "sans-black", "sans-extralight")

_SHARES: Mapping[str, tuple[float, float]] = {
    "thickness": (0.12, 0.3), "cap_height": (0.03, 0.12), "depth": (0.002, 0.02), "fit": (0.15, 0.9),
    "radius": (0.3, 0.9), "size": (0.1, 0.8), "tall": (0.1, 0.6), "width": (0.005, 0.08),
    "chamfer": (0.0, 0.02), "corner_radius": (0.003, 0.1), "fillet": (0.0, 0.001),
    "inset": (0.08, 0.2), "hole": (0.05, 0.15), "gap": (0.02, 0.06), "pitch": (0.01, 0.1),
    "clearance": (0.002, 0.005), "lock": (0.005, 0.02), "wall": (0.01, 0.05), "foot": (0.001, 0.01),
    "blend": (0.005, 0.04), "offset": (0.0, 0.05), "outer": (0.2, 0.9), "inner": (0.0, 0.3),
    "margin": (0.005, 0.05), "fade": (0.005, 0.05), "scallop_depth": (0.01, 0.06),
    "groove_width": (0.005, 0.02), "groove_depth": (0.005, 0.02), "clear": (0.005, 0.03),
    "height": (0.003, 0.03), "shoulder": (0.0, 0.1),
}  # fmt: skip
"""Usual sizes by the name of a key, as shares of the radius."""

_OWN: Mapping[str, tuple[float, float]] = {
    "blank.height": (1.5, 2.5), "blank.flats": (1.7, 1.95), "blank.core.diameter": (0.6, 1.4),
    "blank.drill.diameter": (0.05, 0.15), "blank.hole.size": (0.2, 0.7), "blank.loop.width": (0.03, 0.1),
    "crop.width": (0.2, 0.8), "crop.height": (0.2, 0.8), "panel.height": (-0.012, 0.03),
    "circle.height": (-0.012, 0.03), "field.dish": (-0.02, 0.03), "border.size": (0.01, 0.04),
    "edge.corner_radius": (0.0005, 0.002), "edge.groove_width": (0.003, 0.01), "edge.depth": (0.002, 0.006),
    "edge.groove_depth": (0.001, 0.004), "edge.text.cap_height": (0.02, 0.05), "edge.pitch": (0.03, 0.1), "border.height": (0.002, 0.005),
    "edge.width": (0.01, 0.025), "circle.radius": (0.2, 0.7), "circle.width": (0.02, 0.06),
    "panel.size": (0.1, 0.6), "panel.tall": (0.1, 0.5), "panel.inset": (0.25, 0.4), "border.pitch": (0.06, 0.2),
    "border.radius": (0.4, 0.8), "exergue.level": (0.3, 0.6), "legend.radius": (0.4, 0.8), "inscription.within": (0.3, 0.8), "rim.height": (0.003, 0.02),
}  # fmt: skip
"""The same where a name alone would mislead, by the end of a path."""

_LEFT_AWAY = frozenset({"mass", "cost", "price", "strokes", "more_on", "less_on", "axes", "features",
                        "language", "kerning", "emphasis", "bare", "arc_length"})  # fmt: skip
"""Keys that need more knowledge than a number: they have trials of their own in the tests."""


class Chance:
    """One random spec.

    Parameters
    ----------
    seed : int
    files : mapping of str to sequence of str
        ``models``, ``pictures``, ``drawings`` and ``outlines`` to choose from.
    """

    def __init__(self, seed: int, files: Mapping[str, list[str]]) -> None:
        self.random = random.Random(seed)
        self.files = files
        self.radius = 0.5 * math.exp(self.random.uniform(math.log(8.0), math.log(90.0)))

    def spec(self) -> dict[str, Any]:
        """Return a spec as plain tables."""
        spec: dict[str, Any] = {}
        for key in keys_of(MedalSpec):
            assert key.table is not None
            spec[key.name] = self.table(key.table, key.name)
        spec["medal"]["name"] = "Trial"
        spec["blank"]["diameter"] = round(2.0 * self.radius, 3)
        spec["blank"].setdefault("thickness", round(0.12 * self.radius, 3))
        return without_idle(spec)

    def table(self, table: type, path: str) -> dict[str, Any]:
        """Return a table with some of its keys set."""
        keys = keys_of(table)
        made: dict[str, Any] = {}
        for key in keys:
            here = f"{path}.{key.name}"
            if key.name == "panel" and made.get("circle") and self.random.random() < 0.8:
                continue  # they lie across each other more often than not
            if key.kind == "table" and key.table is not None:
                likely = 0.9 if key.default is not None and path in ("obverse", "reverse") else 0.25
                if self.random.random() < likely:
                    made[key.name] = self.table(key.table, here)
            elif key.kind == "tables" and key.table is not None:
                if self.random.random() < 0.22:
                    count = self.random.choice((1, 1, 1, 2) if path.count(".") == 0 else (1,))
                    made[key.name] = [self.table(key.table, here) for _ in range(count)]
            elif key.name not in _LEFT_AWAY and (
                key.required or self.random.random() < self._likely(key, here)
            ):
                value = self.value(key, here)
                if value is not None:
                    made[key.name] = value
        return made

    def _likely(self, key: Key, path: str) -> float:
        if path.endswith(
            ("hole.shape", "loop.kind", "core.diameter", "drill.diameter", "crop.shape")
        ):
            return 0.12
        if key.name == "drawing" or key.name in ("chamfer", "fillet", "thickness"):
            return 0.9
        if key.name in ("finish", "outline", "kind", "work", "section", "shape", "cap_height"):
            return 0.75
        if key.name in ("size", "radius", "depth", "groove_depth", "groove_width", "within"):
            return 0.95  # what is chosen where none is given is for a piece of 40 mm
        return 0.45 if key.name in _SHARES else 0.2

    def value(self, key: Key, path: str) -> Any:
        """Return a value of a key's kind; None to leave it away."""
        pick = self.random.choice
        if key.kind == "choice":
            return pick(key.choices)
        if key.kind == "bool":
            return pick((True, False))
        if key.kind == "vector":
            if key.unit == "mm":
                return [
                    round(self.random.uniform(-0.25, 0.25) * self.radius, 3)
                    for _ in range(key.size)
                ]
            turns = [float(pick((0, 0, 30, 45, 90, -90, 180))) for _ in range(key.size)]
            return [0.0] * (key.size - 1) + turns[-1:] if pick((True, False)) else turns
        if key.kind == "int":
            low, high = int(key.low or 0), int(min(key.high or 60, 200))
            return self.random.randint(low, max(low, high))
        if key.kind == "float":
            return self.number(key, path)
        return self.text(key, path)

    def number(self, key: Key, path: str) -> Any:
        """Return a number within a key's limits, mostly a usual one."""
        uniform = self.random.uniform
        if key.choices and self.random.random() < 0.6:
            return self.random.choice(key.choices)
        if key.unit == "deg":
            value = float(self.random.choice((0, 1, 5, 8, 15, 30, 45, 90, 180, -33, 200, 37)))
        elif key.unit == "mm":
            own = next((s for end, s in _OWN.items() if path.endswith(end)), None)
            low, high = own or _SHARES.get(key.name, (0.003, 0.3))
            value = uniform(low, high) * self.radius
        else:
            base = key.default if isinstance(key.default, int | float) and key.default else 0.5
            value = base * uniform(0.4, 2.0)
        if key.low is not None:
            value = max(value, key.low + (1e-3 if key.open_low else 0.0))
        if key.high is not None:
            value = min(value, key.high)
        return float(f"{value:.4g}")

    def text(self, key: Key, path: str) -> Any:
        """Return a text for a key that takes one; None to leave it away."""
        pick = self.random.choice
        if key.name in ("text", "words"):
            return pick(WORDS)
        if key.name == "font":
            return pick(FONTS)
        if key.name == "source":
            return pick([*self.files["models"], *self.files["pictures"], *self.files["drawings"]])
        if key.name in ("drawing", "motif"):
            flat = path.endswith("emblem.drawing") or key.name == "motif"
            return pick(self.files["drawings" if flat else "outlines"])
        if key.name == "metal":
            return pick(sorted(materials()))
        if key.name == "separator":
            return pick(("dot", "star", "diamond", "cross", "*"))
        if key.name == "pattern":
            return pick(("", "", "60 60", "30 15"))
        return None


def without_idle(told: dict[str, Any]) -> dict[str, Any]:
    """Return a spec without the keys that have no effect beside the others; it is changed."""
    for _ in range(8):  # a key that goes may take others' effect with it
        try:
            idle = unused(msgspec.convert(told, MedalSpec), told)
        except msgspec.ValidationError:
            return told
        if not idle:
            break
        for one in idle:
            *way, name = re.findall(r"[^.\[\]]+", one.key)
            at: Any = told
            for step in way:
                at = at[int(step)] if step.isdigit() else at[step]
            at.pop(name, None)
    return told


def spoilt(spec: dict[str, Any], seed: int) -> tuple[dict[str, Any], str]:
    """Return a spec with one thing wrong in it, and what."""
    chance = random.Random(seed)
    tables: list[tuple[dict[str, Any], type, str]] = []
    for key in keys_of(MedalSpec):
        assert key.table is not None
        _gather(spec[key.name], key.table, key.name, tables)
    told, table, path = chance.choice(tables)
    keys = [k for k in keys_of(table) if k.kind not in ("table", "tables")]
    if not keys or chance.random() < 0.2:
        told["no_such_key"] = 1
        return spec, f"{path}.no_such_key"
    key = chance.choice(keys)
    wrong: list[Any] = [float("nan"), float("inf"), [], {}, [[1.0]], -(10**30), 10**400]
    if key.kind != "str" and not key.choices:
        wrong += ["seven", ""]
    if key.kind in ("float", "int"):
        wrong += [key.high * 1.01 + 1 for _ in "ab" if key.high is not None]
        wrong += [key.low - 1 for _ in "ab" if key.low is not None]
    if key.kind in ("choice",):
        wrong += ["no such choice"]
    told[key.name] = chance.choice(wrong)
    return spec, f"{path}.{key.name} = {str(told[key.name])[:40]}"


def _gather(told: Any, table: type, path: str, found: list[Any]) -> None:
    found.append((told, table, path))
    for key in keys_of(table):
        if key.table is None or key.name not in told:
            continue
        inner = told[key.name] if isinstance(told[key.name], list) else [told[key.name]]
        for one in inner:
            _gather(one, key.table, f"{path}.{key.name}", found)
