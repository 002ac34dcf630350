# ruff: noqa: E501 (tables are read better in long lines)
"""What nobody thought of: random valid specs, wrong ones, hostile sources, faults of files.

Every piece that is built is measured by another library than the project's.
"""

from __future__ import annotations

import contextlib
import io
import math
import shutil
import sys
import tempfile
import time
import tomllib
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import hostile_files as hostile
import msgspec
import numpy as np
import tomli_w
import trimesh
from random_specs import Chance, spoilt

from medalcore.cli import main
from medalcore.deliver.stl import stl_bytes
from medalcore.errors import MedalError
from medalcore.piece.build import build
from medalcore.spec import spec_from_dict

LONG = 25.0
"""Seconds of processor time after which a draft is told as too slow."""

LONGEST_LINE = 600
_HEAVY = frozenset({
    "a million copies of one triangle", "a million copies of a few", "noise of 1500 pixels",
    "noise of floats", "9000 pixels", "13000 pixels", "20000 paths", "100000 paths", "5000 circles",
    "a star of 4000 crossings", "items by the hundred thousand", "a path of a million turns",
})  # fmt: skip
"""Hostile sources that take seconds: by hand only, with --heavy."""


@dataclass(frozen=True)
class Outcome:
    """How a trial ended: built, refused, or what is wrong; and what it says."""

    end: str
    text: str = ""


def trials(names: list[str]) -> dict[str, Callable[[int, Path, bool], tuple[Any, Outcome]]]:
    """Return the kinds of trials by name."""
    every = {"valid": valid, "wrong": wrong, "hostile": sources, "faults": faults}
    return {name: every[name] for name in names}


# ---- one trial of each kind: returns what was asked for and how it ended


def valid(seed: int, folder: Path, heavy: bool) -> tuple[Any, Outcome]:
    """Build a random spec."""
    told = Chance(seed, _plain_files(folder)).spec()
    return told, _tried(told, twice=seed % 5 == 0)


def wrong(seed: int, folder: Path, heavy: bool) -> tuple[Any, Outcome]:
    """Spoil a random spec: it is refused, or what was spoilt was allowed after all."""
    told, what = spoilt(Chance(seed, _plain_files(folder)).spec(), seed)
    outcome = _tried(told)
    return told, Outcome(outcome.end, f"{what}: {outcome.text}" if outcome.text else what)


def sources(seed: int, folder: Path, heavy: bool) -> tuple[Any, Outcome]:
    """Use a hostile file where it can be used."""
    cases = [
        (make, use)
        for made, uses in (
            (hostile.MODELS, ("relief",)),
            (hostile.PICTURES, ("relief",)),
            (hostile.DRAWINGS, ("relief", "raised", "levels", "cells", "sunk", "outline", "panel")),
        )
        for name, make in made.items()
        if heavy or name not in _HEAVY
        for use in uses
    ]
    make, use = cases[seed % len(cases)]
    source = str(folder / make(folder))
    told: dict[str, Any] = {"blank": {"diameter": 30.0}, "obverse": {}}
    if use == "relief":
        told["obverse"]["relief"] = [{"source": source, "fit": 12.0}]
    elif use == "outline":
        told["blank"] |= {"outline": "drawing", "drawing": source}
    elif use == "panel":
        panel = {"shape": "drawing", "drawing": source, "size": 12.0}
        told["obverse"]["field"] = {"panel": [panel]}
    else:
        told["obverse"]["emblem"] = [{"drawing": source, "fit": 12.0, "work": use}]
    return told, _tried(told)


def faults(seed: int, folder: Path, heavy: bool) -> tuple[Any, Outcome]:
    """Give the command files and folders that are not as they should be."""
    told = {"medal": {"name": "Trial"}, "blank": {"diameter": 8.0, "thickness": 1.0}}
    spec, out = folder / "trial.toml", folder / "out"
    spec.write_bytes(tomli_w.dumps(told).encode())
    case = seed % 6
    if case == 0:
        out.write_text("a file where the folder should be")
    elif case == 1:
        out.mkdir()
        (out / "trial.stl").write_text("an older piece")
    elif case == 2:
        spec.write_bytes(b"\xff\xfe not a text at all \x00")
    elif case == 3:
        spec.unlink()
        spec.mkdir()
    elif case == 4:
        spec.unlink()
    else:
        told["obverse"] = {"legend": [{"text": "A", "font": str(folder / "none.ttf")}]}
        spec.write_bytes(tomli_w.dumps(told).encode())
    before = _seen(folder)
    caught = io.StringIO()
    with contextlib.redirect_stderr(caught), contextlib.redirect_stdout(io.StringIO()):
        status = main(["build", str(spec), "--out", str(out), "--quality", "draft"])
    lines = caught.getvalue().strip().splitlines()
    if status != 2 or len(lines) != 1 or "unexpected" in lines[0]:
        return told, Outcome("fault", f"case {case}: status {status}, said {lines}")
    if _seen(folder) != before:
        return told, Outcome("fault", f"case {case}: files changed: {_seen(folder)}")
    return told, Outcome("refused", lines[0])


# ---- what a trial stands on


def _plain_files(folder: Path) -> Mapping[str, list[str]]:
    """Make the sources that random specs name."""
    made = {
        "dome.stl": hostile.stl(hostile.dome()),
        "slab.stl": hostile.stl(trimesh.creation.box((3, 2, 1)).triangles),
        "ramp.png": hostile.png(48, 48, b"".join(bytes([0, *range(0, 240, 5)]) for _ in range(48))),
        "one.svg": b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M0 0h40v30l-20 20-20-20z"/></svg>',
        "two.svg": b'<svg xmlns="http://www.w3.org/2000/svg"><circle cx="50" cy="50" r="40" '
        b'fill="#335"/><path d="M20 50h60M50 20v60" stroke="#caa" stroke-width="6"/></svg>',
        "heart.svg": b'<svg xmlns="http://www.w3.org/2000/svg"><path d="M50 90C0 50 10 10 50 30 '
        b'90 10 100 50 50 90z"/></svg>',
    }
    for name, data in made.items():
        path = folder / name
        if not path.exists():
            path.write_bytes(data)
    at = {name: str(folder / name) for name in made}
    return {
        "models": [at["dome.stl"], at["slab.stl"]],
        "pictures": [at["ramp.png"]],
        "drawings": [at["one.svg"], at["two.svg"]],
        "outlines": [at["one.svg"], at["heart.svg"]],
    }


def _seen(folder: Path) -> dict[str, Any]:
    return {
        str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None
        for p in sorted(folder.rglob("*"))
    }


def _tried(told: dict[str, Any], twice: bool = False) -> Outcome:
    """Build a spec at draft; every end but a sound piece or one helpful line is a fault."""
    start = time.process_time()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            spec = spec_from_dict(told)
            medal = build(spec, "draft")
    except MedalError as error:
        text = str(error)
        spent = time.process_time() - start
        if spent > LONG:
            return Outcome("fault", f"refused after {spent:.0f} s: {text}")
        if len(text) > LONGEST_LINE or "\n" in text:
            return Outcome("fault", f"{len(text)} characters or several lines: {text[:80]!r}")
        if "does not close" in text or "cannot be told apart" in text or "is not a closed" in text:
            return Outcome("fault", text)
        return Outcome("refused", text)
    except Exception as error:
        return Outcome("fault", f"{type(error).__name__}: {error}")
    spent = time.process_time() - start
    wrong = list(unsound(medal, msgspec.to_builtins(spec)))
    if spent > LONG:
        wrong.append(f"took {spent:.0f} s")
    if twice and not wrong and stl_bytes(build(spec, "draft")) != stl_bytes(medal):
        wrong.append("another build gives other bytes")
    return Outcome("fault", "; ".join(wrong)) if wrong else Outcome("built")


def unsound(medal: Any, spec: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is wrong with a piece, measured on the bytes of its STL by trimesh.

    Volume by the divergence theorem; mass by the density in the table of materials.
    """
    report = medal.report
    with io.BytesIO(stl_bytes(medal)) as held:
        mesh = trimesh.load(held, file_type="stl")
    if not mesh.is_watertight or not mesh.is_winding_consistent:
        yield f"trimesh finds it open ({len(mesh.faces)} faces)"
        return
    if mesh.volume <= 0.0 or not math.isclose(mesh.volume, report["volume_mm3"], rel_tol=1e-5):
        yield f"its volume is {mesh.volume:.6g} mm³, the report says {report['volume_mm3']:.6g}"
    bodies = len(trimesh.graph.connected_components(mesh.face_adjacency, min_len=1))
    if bodies != report["bodies"]:
        yield f"it has {bodies} bodies, the report says {report['bodies']}"
    if bodies == 1:
        metal = spec.get("medal", {}).get("metal", "bronze")
        mass = mesh.volume * _densities()[metal] / 1000.0
        if not math.isclose(mass, report["mass_g"], rel_tol=1e-5):
            yield f"its mass is {mass:.6g} g, the report says {report['mass_g']:.6g}"
    blank = spec.get("blank", {})
    free = not blank.get("loop", {}).get("kind") and not spec.get("edge", {}).get("text")
    if free and blank.get("outline", "round") == "round":
        wide = np.ptp(mesh.vertices[:, :2], axis=0)
        if np.abs(wide - blank.get("diameter", 40.0)).max() > 0.021:  # two chords at draft
            yield f"it is {wide[0]:.4f} x {wide[1]:.4f} mm for {blank.get('diameter', 40.0)}"
    # A face that folds over is closed all the same: fields never look back at the piece.
    zone = np.array(medal.zone_names)[medal.zone]
    corner = medal.vertices[medal.triangles]
    up = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])[:, 2] * medal.side
    back = -up[(zone == "field") & (up < 0.0)].sum() / 2.0
    if back > 1e-5:
        yield f"{back:.3g} mm² of its fields look backwards"


def _densities() -> Mapping[str, float]:
    """Return the densities of the table of materials, g/cm³."""
    text = (resources.files("medalcore") / "data" / "materials.toml").read_text("utf-8")
    return {name: float(row["density"]) for name, row in tomllib.loads(text).items()}


# ---- many trials


def run(
    kinds: list[str],
    first: int,
    count: int,
    seconds: float,
    keep: Path,
    *,
    heavy: bool = False,
    show: bool = False,
) -> Counter[str]:
    """Run trials and print one line for each failure.

    Parameters
    ----------
    kinds : list of str
        Taken in turn.
    first, count : int
        Seeds.
    seconds : float
        When to stop; 0 is never.
    keep : Path
        Where the specs of failures go.

    Returns
    -------
    counts : Counter
        How many trials of each kind ended how.
    """
    end = time.monotonic() + seconds if seconds else math.inf
    counts: Counter[str] = Counter()
    table = trials(kinds)
    for number in range(first, first + count):
        for name, trial in table.items():
            if time.monotonic() > end:
                return counts
            folder = Path(tempfile.mkdtemp(prefix="trial-"))
            if show:
                print(f"{name} {number}", file=sys.stderr, flush=True)  # a crash leaves this
            told, outcome = trial(number, folder, heavy)
            counts[f"{name} {outcome.end}"] += 1
            if outcome.end == "fault" or show:
                print(f"{name} {number}: {outcome.end} {outcome.text}".rstrip(), flush=True)
            if outcome.end == "fault":
                keep.mkdir(parents=True, exist_ok=True)
                shutil.copytree(folder, keep / f"{name}-{number}", dirs_exist_ok=True)
                with contextlib.suppress(TypeError, ValueError):
                    text = tomli_w.dumps(told).replace(f"{folder}/", "")
                    (keep / f"{name}-{number}" / "spec.toml").write_text(text, "utf-8")
            shutil.rmtree(folder, ignore_errors=True)
    return counts
