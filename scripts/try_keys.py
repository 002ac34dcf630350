"""Does every key do what it says? Set each, in every kind of its table, and compare the pieces.

Where a key is said to count, another value must give another piece; where it is said not to,
the same one. Keys outside their conditions must be refused or told. All at draft, on pieces of
20 mm:

    python scripts/try_keys.py                     everything: some minutes
    python scripts/try_keys.py --table Border      one table
"""

from __future__ import annotations

import argparse
import copy
import re
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

from medalcore.errors import MedalError
from medalcore.piece.build import build
from medalcore.spec import Key, MedalSpec, Table, keys_of, spec_from_dict
from medalcore.spec.condition import All, Any_, Check, Condition, Not

Data = dict[str, Any]
Ways = list[dict[str, Any]]

SQUARES = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">'
    '<path d="M0 0H60V24L44 40H0Z" fill="{}"/>{}</svg>'
)
INNER = '<rect x="8" y="8" width="12" height="20" fill="{}"/>'

SHIELD = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 60 40">'
    '<path d="M0 0H60V20L30 40L0 20Z" fill="#202020"/></svg>'
)

FILES = {"model": "bump.stl", "picture": "bump.png", "drawing": "crest.svg", "array": "array:bump"}
"""What stands for each kind of source of a relief; `make_files` writes them."""

PLACES: Mapping[str, Data] = {
    "medal": {},
    "blank": {},
    "blank.rim": {},
    "blank.hole": {},
    "blank.drill": {},
    "blank.loop": {},
    "blank.core": {},
    "edge": {},
    "edge.text": {},
    "obverse.field": {},
    "obverse.field.circle[0]": {"obverse": {"field": {"circle": [{"radius": 6.0}]}}},
    "obverse.field.panel[0]": {"obverse": {"field": {"panel": [{"size": 8.0, "tall": 6.0}]}}},
    "obverse.rim": {"obverse": {"rim": {}}},
    "obverse.legend[0]": {"obverse": {"legend": [{"text": "AVATO", "cap_height": 2.5}]}},
    "obverse.inscription[0]": {"obverse": {"inscription": [{"text": "AVA"}]}},
    "obverse.exergue[0]": {"obverse": {"exergue": [{"text": "AV", "cap_height": 1.2}]}},
    "obverse.border[0]": {"obverse": {"border": [{}]}},
    "obverse.emblem[0]": {"obverse": {"emblem": [{"drawing": "crest.svg", "fit": 8.0}]}},
    "obverse.texture[0]": {"obverse": {"texture": [{"pitch": 1.0, "inner": 2.0}]}},
    **{
        f"obverse.relief[0]{inner}": {"obverse": {"relief": [{"source": "bump.stl", "fit": 8.0}]}}
        for inner in ("", ".cut", ".crop", ".picture", ".flat")
    },
}
"""Every table, and the least spec that has it."""

VALUES: Mapping[tuple[str, str], tuple[Any, Any]] = {
    ("Identity", "alignment"): ("medal", 30.0),
    ("Identity", "metal"): ("bronze", "fine-silver"),
    ("Blank", "height"): (14.0, 16.0),
    ("Blank", "flats"): (18.0, 18.5),
    ("Blank", "drawing"): ("crest.svg", "shield.svg"),
    ("Blank", "mass"): (8.0, 9.0),
    ("Blank", "cost"): (8.0, 9.0),
    ("Blank", "sides"): (7, 9),
    ("Blank", "scallop_width"): (2.0, 2.4),
    ("Blank", "turn"): (0.0, 10.0),
    ("Rim", "fillet"): (0.05, 0.1),
    ("Hole", "size"): (6.0, 6.5),
    ("Hole", "turn"): (0.0, 10.0),
    ("Hole", "corner_radius"): (0.3, 0.5),
    ("Drill", "diameter"): (2.0, 2.2),
    ("Loop", "thickness"): (1.5, 1.7),
    ("Loop", "gap"): (0.5, 0.6),
    ("Core", "diameter"): (12.0, 13.0),
    ("Core", "corner_radius"): (0.4, 0.6),
    ("Core", "tall"): (8.0, 9.0),
    ("Core", "drawing"): ("crest.svg", "shield.svg"),
    ("Core", "metal"): ("copper", "fine-silver"),
    ("Core", "lock"): (0.1, 0.15),
    ("Edge", "reeds"): (60, 70),
    ("Edge", "pitch"): (0.9, 1.0),
    ("Edge", "width"): (0.3, 0.35),
    ("Edge", "pattern"): ("60 60", "45 45"),
    ("Edge", "groove_heights"): ("-0.4 0.4", "-0.5 0.3"),
    ("Edge", "groove_width"): (0.4, 0.5),
    ("Edge", "groove_depth"): (0.2, 0.25),
    ("Edge", "start"): (0.0, 20.0),
    ("EdgeText", "words"): ("AVA", "TO"),
    ("EdgeText", "cap_height"): (0.8, 0.9),
    ("EdgeText", "fill"): (40.0, 50.0),
    ("EdgeText", "font"): ("sans-bold", "serif-bold"),
    ("EdgeText", "repeat"): (1, 2),
    ("EdgeText", "depth"): (0.12, 0.15),
    ("Field", "dish"): (0.1, 0.2),
    ("Panel", "corner_radius"): (0.3, 0.5),
    ("Panel", "width"): (0.8, 0.9),
    ("Panel", "height"): (-0.2, 0.2),
    ("Panel", "size"): (8.0, 8.5),
    ("Panel", "tall"): (6.0, 6.5),
    ("Panel", "drawing"): ("crest.svg", "shield.svg"),
    ("Panel", "inset"): (4.0, 4.5),
    ("Circle", "radius"): (6.0, 6.5),
    ("Border", "drawing"): ("crest.svg", "shield.svg"),
    ("Border", "count"): (30, 32),
    ("Border", "pitch"): (1.5, 1.8),
    ("Border", "size"): (0.6, 0.7),
    ("Border", "width"): (0.3, 0.35),
    ("Border", "space"): (0.3, 0.35),
    ("Border", "lines"): (1, 2),
    ("Border", "height"): (0.15, 0.2),
    ("Border", "radius"): (6.0, 6.5),
    ("Border", "gap"): (40.0, 60.0),
    ("Border", "gap_at"): ("bottom", 40.0),
    ("Border", "draft"): (30.0, 35.0),
    ("Emblem", "drawing"): ("crest.svg", "shield.svg"),
    ("Emblem", "fit"): (8.0, 9.0),
    ("Emblem", "bare"): ("#ffffff", "#808080"),
    ("Emblem", "depth"): (0.2, 0.3),
    ("Emblem", "wall"): (0.3, 0.4),
    ("Texture", "land"): (0.1, 0.3),
    ("Texture", "inner"): (2.0, 2.5),
    ("Texture", "outer"): (6.0, 7.0),
    ("Texture", "sweep"): (120.0, 150.0),
    ("Texture", "margin"): (0.3, 0.5),
    ("Texture", "depth"): (0.05, 0.06),
    ("Texture", "pitch"): (1.0, 1.4),
    ("Relief", "source"): ("bump.stl", "slab.stl"),
    ("Relief", "fit"): (8.0, 9.0),
    ("Relief", "height"): (0.4, 0.5),
    ("Relief", "turn"): ((0.0, 0.0, 0.0), (0.0, 0.0, 30.0)),
    ("Relief", "crease"): (65.0, 0.0),
    ("Relief", "emphasis"): ("", "weight.png"),
    ("Relief", "foot"): (0.05, 0.6),
    ("Relief", "blend"): (0.3, 0.5),
    ("Relief", "detail"): (1.0, 2.0),
    ("Relief", "edges"): (0.0, 2.0),
    ("Cut", "foot"): (0.2, 0.3),
    ("Cut", "slant"): (0.0, 15.0),
    ("Cut", "back"): (0.2, 0.4),
    ("Crop", "width"): (5.0, 4.0),
    ("Crop", "height"): (4.0, 3.0),
    ("Picture", "black"): (0.0, 0.2),
    ("Picture", "white"): (1.0, 1.5),
    ("Flat", "bare"): ("#ffffff", "#808080"),
    ("Flat", "shoulder"): (0.5, 1.0),
    ("Flat", "edge"): (0.3, 0.6),
    ("Legend", "radius"): (5.0, 5.5),
    ("Legend", "at"): ("top", 40.0),
    ("Legend", "reading"): ("auto", "counter-clockwise"),
    ("Legend", "sweep"): (120.0, 140.0),
    ("Legend", "arc_length"): (14.0, 16.0),
    ("Legend", "separator"): ("star", "dot"),
    ("Legend", "tracking"): (60.0, 200.0),
    ("Inscription", "within"): (6.0, 5.0),
    ("Inscription", "turn"): (0.0, 20.0),
    ("Exergue", "level"): (4.0, 4.5),
    ("Exergue", "cap_height"): (0.6, 0.7),
    ("Exergue", "text"): ("AV", "TO"),
    **{
        (words, name): values
        for words in ("Legend", "Inscription", "Exergue")
        for name, values in {
            "font": ("serif-bold", "sans-bold"),
            "kerning": ("AV=-100", "AV=100"),
            "axes": ("", "wght=650"),
            "features": ("", "kern=0"),
            "clear": (0.2, 0.6),
        }.items()
    },
}
"""Two values of a key, where its default and something larger do not do."""

BESIDE: Mapping[tuple[str, str], Data] = {
    ("Identity", "alignment"): {"/reverse": {"inscription": [{"text": "AVA"}]}},
    ("Blank", "cost"): {"/medal.price": 1.0},
    ("Blank", "flats"): {"sides": 6},
    ("Blank", "mass"): {"rim.width": 1.2},
    ("Core", "round_corners"): {"corner_radius": 0.5},
    ("Core", "price"): {"metal": "copper"},
    ("Relief", "emphasis"): {},
    ("Relief", "foot"): {"flat.shoulder": 0.5, "flat.edge": 0.05},
    ("Inscription", "within"): {"text": "AVATO TO AV TOVA", "cap_height": 1.2},
    ("Inscription", "leading"): {"text": "AVATO TO AV TOVA", "cap_height": 1.2},
    ("Inscription", "align"): {"text": "AVATO TO AV TOVA", "cap_height": 1.2},
    ("Exergue", "fit"): {"cap_height": 3.0},
    **{(words, "clear"): {"^border": [{"radius": 6.5, "offset": 0.2}]}
       for words in ("Legend", "Exergue")},
    ("Inscription", "clear"): {"^border": [{"radius": 2.4}]},
}  # fmt: skip
"""What else a key needs to show: something to keep clear of, a price to reckon with."""

TOLD_ONLY = {
    ("Identity", "name"), ("Identity", "process"), ("Identity", "metal"), ("Identity", "price"),
    ("Core", "metal"), ("Core", "price"), ("Emblem", "density"),
}  # fmt: skip
"""Keys that change what the report says and not the mesh."""

LEFT_OUT = {
    ("Relief", "strokes"), ("Relief", "more_on"), ("Relief", "less_on"),
    ("Emblem", "overlap"), ("Emblem", "to_rim"),
    *((words, name) for words in ("Legend", "Inscription", "Exergue")
      for name in ("axes", "language", "features", "overlap")),
}  # fmt: skip
"""Keys that need a sculpted sheet, vertex groups, a font of their kind, or elements that meet:
tried by their own tests."""


@dataclass(frozen=True)
class Trial:
    """A key in a context, and two values of it.

    Attributes
    ----------
    path : str
        Of the table.
    key : Key
    context : mapping
        What else is set, by paths from the table.
    values : (a, b)
    """

    path: str
    table: type[Table]
    key: Key
    context: Mapping[str, Any]
    values: tuple[Any, Any]

    def data(self, value: Any) -> Data:
        """Return the spec with one of the values."""
        data = copy.deepcopy({**PLACES[self.path]})
        data.setdefault("blank", {}).setdefault("diameter", 20.0)
        context = {**BESIDE.get((self.table.__name__, self.key.name), {}), **self.context}
        for where, given in {**context, self.key.name: value}.items():
            put(data, self.path, where, given)
            if given in ("motif", "drawing") and "drawing" not in self.context:
                put(data, self.path, where.rpartition(".")[0] + "drawing", "crest.svg")
        for where, given in context.items():
            put(data, self.path, where, given)
        put(data, self.path, self.key.name, value)
        return data

    def __str__(self) -> str:
        told = ", ".join(f"{k} = {v!r}" for k, v in self.context.items())
        return f"{self.path}.{self.key.name} {self.values}{f' with {told}' if told else ''}"


def put(data: Data, path: str, where: str, value: Any) -> None:
    """Set a key in plain data, by its path from a table; see `View.find`."""
    steps = path.split(".")
    while where.startswith("^"):
        steps, where = steps[:-1], where[1:]
    if where.startswith("/"):
        steps, where = [], where[1:]
    *inner, name = where.split(".")
    place: Any = data
    for step in [*steps, *inner]:
        bare, _, number = step.partition("[")
        place = place.setdefault(bare, {} if not number else [{}])
        place = place[int(number[:-1])] if number else place
    place[name] = list(value) if isinstance(value, tuple) else value


def table_at(path: str) -> type[Table]:
    """Return the class of a table by its path."""
    table: type[Table] = MedalSpec
    for step in re.sub(r"\[\d+\]", "", path).split("."):
        key = next(k for k in keys_of(table) if k.name == step)
        assert key.table is not None
        table = key.table
    return table


def owner_of(path: str, where: str) -> tuple[str, str]:
    """Return the path of the table and the name that a condition's path leads to."""
    steps = path.split(".")
    while where.startswith("^"):
        steps, where = steps[:-1], where[1:]
    if where.startswith("/"):
        steps, where = [], where[1:]
    *inner, name = where.split(".")
    return ".".join([*steps, *inner]), name


def values_of(table: type[Table], key: Key) -> tuple[Any, Any] | None:
    """Return two values of a key, neither 0 nor empty where that may leave something away."""
    known = VALUES.get((table.__name__, key.name))
    if known or (table.__name__, key.name) in LEFT_OUT:
        return known if (table.__name__, key.name) not in LEFT_OUT else None
    if key.kind == "choice":
        return (key.default, next(word for word in key.choices if word != key.default))
    if key.kind == "bool":
        return (key.default, not key.default)
    if key.kind == "vector":
        return (key.default, tuple([0.4] * key.size))
    if key.kind == "float" and key.unit == "deg" and not key.default:
        return (0.0, 10.0)
    if key.kind in ("int", "float"):
        first = key.default or (key.low or 0) + 1
        more = first + 1 if key.kind == "int" else round(first * 1.15, 4)
        return (first, more) if key.high is None or more <= key.high else (first, first * 0.8)
    return ("AVA", "TO") if key.kind == "str" else None


def ways(condition: Condition | None, path: str, wanted: bool = True) -> Ways:
    """Return how a condition on a table at `path` comes to hold, or to fail, by paths from it."""
    if condition is None:
        return [{}] if wanted else []
    if isinstance(condition, Not):
        return ways(condition.part, path, not wanted)
    if isinstance(condition, (All, Any_)):
        parts = [ways(part, path, wanted) for part in condition.parts]
        if isinstance(condition, All) != wanted:
            return [way for part in parts for way in part]
        found: Ways = [{}]
        for part in parts:
            found = [{**a, **b} for a in found for b in part if not _clash(a, b)]
        return found
    return _of_check(condition, path, wanted) if isinstance(condition, Check) else []


def _clash(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    return any(a[name] != b[name] for name in a.keys() & b.keys())


def _of_check(check: Check, path: str, wanted: bool) -> Ways:
    owner, name = owner_of(path, check.path)
    table = table_at(owner)
    key = next(k for k in keys_of(table) if k.name == name)
    found: Ways = []
    for value in _candidates(table, key):
        if check.passes(value) == wanted:
            found.append({check.path: value})
    if not wanted or check.is_plain:
        return found
    prefix = check.path[: len(check.path) - len(name)]
    outer = ways(key.when, owner)
    return [
        {**way, **{_joined(prefix, k): v for k, v in more.items()}}
        for way in found for more in outer[:1]
    ]  # fmt: skip


def _joined(prefix: str, where: str) -> str:
    return where if where.startswith("/") else prefix + where


def _candidates(table: type[Table], key: Key) -> list[Any]:
    if key.kind == "choice":
        return list(key.choices)
    if (table.__name__, key.name) == ("Relief", "source"):
        return list(FILES.values())
    if key.kind in ("table", "tables"):
        return [{}]
    if key.name == "text":
        return ["AVA", "AVA\nTO"]
    found = [*(values_of(table, key) or ())]
    if key.kind in ("int", "float"):
        return [*found, *([0] if (key.low or 0) <= 0 else []), key.default]
    return [*found, False if key.kind == "bool" else ""]


def trials(path: str, counting: bool) -> Iterator[Trial]:
    """Yield every key of a table where it counts, or where it does not.

    Counting keys are tried with each word of the table's choices and each switch of its own.
    """
    table = table_at(path)
    for key in keys_of(table):
        values = values_of(table, key)
        if values is None or key.kind in ("table", "tables"):
            continue
        own = ways(_with_outer(path, key), path, counting)
        if not counting:
            yield from (Trial(path, table, key, way, values) for way in own)
            continue
        seen = []
        for way in own[:1]:
            for more in _contexts(path, table, key):
                context = {**more, **way}
                if context not in seen and not _clash(more, way):
                    seen.append(context)
                    yield Trial(path, table, key, context, values)
        yield from (Trial(path, table, key, way, values) for way in own[1:])


def _with_outer(path: str, key: Key) -> Condition | None:
    """Return a key's condition with that of the table it stands in."""
    around, _, name = path.rpartition(".")
    if not around or "[" in name:
        return key.when
    outer = next(k for k in keys_of(table_at(around)) if k.name == name).when
    if outer is None:
        return key.when
    moved = _moved(outer)
    return moved if key.when is None else moved & key.when


def _moved(condition: Condition) -> Condition:
    """Return a condition of the outer table as the inner one has to ask it."""
    if isinstance(condition, Not):
        return Not(_moved(condition.part))
    if isinstance(condition, (All, Any_)):
        return type(condition)(tuple(_moved(part) for part in condition.parts))
    assert isinstance(condition, Check)
    path = condition.path if condition.path.startswith("/") else "^" + condition.path
    return Check(path, condition.passes, condition.asks, condition.allowed, condition.is_switch)


def _contexts(path: str, table: type[Table], about: Key) -> Iterator[dict[str, Any]]:
    yield {}
    for key in keys_of(table):
        if key.name == about.name or (table.__name__, key.name) in TOLD_ONLY:
            continue
        if key.kind == "choice":
            yield from ({key.name: word} for word in key.choices if word != key.default)
    if table.__name__ == "Relief" and about.name != "source":
        yield from ({"source": name} for name in FILES.values())
    if table.__name__ == "EdgeText":
        yield {"^finish": "reeded"}


def make_files(folder: Path) -> dict[str, Any]:
    """Write the files the trials name; return the sources in memory."""
    import numpy as np
    import trimesh
    from PIL import Image

    from medalcore import height_field

    dark = INNER.format("#808080")
    (folder / "crest.svg").write_text(SQUARES.format("#000000", dark))
    (folder / "shield.svg").write_text(SHIELD)
    y, x = np.mgrid[-1:1:64j, -1:1:64j]
    height = np.clip(1.0 - x * x - y * y, 0.0, None) + 0.3 * (np.hypot(x - 0.3, y) < 0.3)
    Image.fromarray((height / height.max() * 65535).astype(np.uint16)).save(folder / "bump.png")
    Image.fromarray((np.tile(np.linspace(0, 255, 64), (64, 1))).astype(np.uint8)).save(
        folder / "weight.png"
    )
    ball = trimesh.creation.icosphere(2, 10.0)
    small = trimesh.creation.icosphere(2, 4.0).apply_translation((5.0, 3.0, 8.0))
    trimesh.util.concatenate([ball, small]).export(folder / "bump.stl")
    trimesh.creation.box((20.0, 14.0, 6.0)).export(folder / "slab.stl")
    shell = np.where(np.hypot(x, y) < 1.0, height, np.nan)
    return {"array:bump": height_field(shell, pixel=0.1)}


def piece_of(data: Data, folder: Path, models: Mapping[str, Any]) -> tuple[bytes, str]:
    """Build a piece whatever has no effect; return its mesh and what its report says."""
    allow = mock.Mock()
    with (
        mock.patch("medalcore.piece.build.refuse_unused", allow),
        mock.patch("medalcore.spec.files.refuse_unused", allow),
    ):
        medal = build(spec_from_dict(data, folder=folder), "draft", models=models)
    report = {k: v for k, v in medal.report.items() if k not in ("seconds", "findings")}
    return medal.vertices.tobytes() + medal.triangles.tobytes(), repr(report)


def outcome(trial: Trial, folder: Path, models: Mapping[str, Any]) -> str:
    """Return ``same``, ``other``, or the refusal of one of the two specs."""
    try:
        one, two = (piece_of(trial.data(value), folder, models) for value in trial.values)
    except MedalError as error:
        return f"refused: {error}"
    by_report = (trial.table.__name__, trial.key.name) in TOLD_ONLY
    return "same" if (one[1:] == two[1:] if by_report else one[0] == two[0]) else "other"


def is_told(trial: Trial, folder: Path) -> bool:
    """Tell whether a key outside its condition is refused, or told as a note, by its path."""
    told: list[str] = []
    wanted = f"{trial.path}.{trial.key.name}"
    value = next((v for v in trial.values if v != trial.key.default and v), trial.values[1])
    try:
        spec_from_dict(trial.data(value), folder=folder, told=lambda one: told.append(one.key))
    except MedalError as error:
        return wanted in str(error) or "no effect" in str(error)
    return wanted in told


def main(argv: Sequence[str] | None = None) -> int:
    """Try what is asked for, tell what is wrong, and return 1 if anything is."""
    parser = argparse.ArgumentParser(description="Does every key do what it says?")
    parser.add_argument("--table", default="", help="name of one table's class")
    parser.add_argument("--key", default="", help="name of one key")
    parser.add_argument("--refused", action="store_true", help="tell the specs that are refused")
    args = parser.parse_args(argv)
    wrong, counts = 0, {"same": 0, "other": 0, "refused": 0}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        models = make_files(folder)
        for path in PLACES:
            if args.table not in ("", table_at(path).__name__):
                continue
            for counting in (True, False):
                for trial in trials(path, counting):
                    if args.key not in ("", trial.key.name):
                        continue
                    found = outcome(trial, folder, models)
                    counts[found.partition(":")[0]] += 1
                    bad = found == ("same" if counting else "other")
                    if not counting and not is_told(trial, folder):
                        print(f"not told: {trial}", flush=True)
                        wrong += 1
                    if bad:
                        print(f"{'no effect' if counting else 'an effect'}: {trial}", flush=True)
                        wrong += 1
                    elif args.refused and found.startswith("refused"):
                        print(f"{found}: {trial}", flush=True)
    print(f"{sum(counts.values())} trials, {counts}, {wrong} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
