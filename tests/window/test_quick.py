"""A changed number of blank or edge is on screen within 0.3 s, Blender's own drawing aside."""

from __future__ import annotations

import os
import time
from pathlib import Path
from statistics import median

import pytest
from test_window import SCENES, keep
from window import Blender

LIMIT = 0.3
"""Seconds, as asked for at draft quality."""

OTHERS = 0.4
"""Processors that other programs may take on average; with more, speed cannot be told."""

WAIT = 0.2
"""Seconds a change may hold Blender up; what follows is the mesh written into Blender."""


def busy() -> float:
    """Return the seconds of all processors that were not ours so far, on Linux."""
    fields = Path("/proc/stat").read_text().splitlines()[0].split()[1:9]
    user, nice, system, _, _, irq, softirq, _ = (
        float(f) / os.sysconf("SC_CLK_TCK") for f in fields
    )
    ours = sum(os.times()[:4])  # with our children, once they have ended
    return user + nice + system + irq + softirq - ours


def test_changes_are_in_the_next_redraw(screen: Blender, tmp_path: Path) -> None:
    """Best of a few turns.

    What a machine with a graphics card spends on drawing is next to nothing; here the
    processor draws. So Blender's own redraw, measured in the same run, is taken off.
    """
    picture = tmp_path / "quick_changes.png"
    start, before = time.perf_counter(), busy()
    told = screen.photograph(SCENES / "quick_changes.py", picture, size=(1280, 720), wait=300)
    taken = (busy() - before - told["computed"]) / (time.perf_counter() - start)
    keep(picture)
    assert "Traceback" not in told["log"]
    assert told["zones"] == "field,rim,edge,relief,legend,border"
    host = min(turn["all"] for turn in told["host"])
    print(f"\nBlender's own redraw {host:.3f} s; {told['triangles']} triangles; "
          f"other programs take {taken:.2f} processors")  # fmt: skip
    assert set(told["changes"]) == {
        "diameter", "thickness", "chamfer", "rim height", "reeds", "reed depth"
    }  # fmt: skip
    for name, turns in told["changes"].items():
        best = min(turns, key=lambda turn: turn["all"])
        ours = best["all"] - host
        print(f"{name:11} {best['all']:.3f} s, without Blender's own redraw {ours:.3f} s")
        if ours >= LIMIT and taken > OTHERS:
            pytest.skip(f"other programs take {taken:.1f} processors: {name} cannot be timed")
        assert ours < LIMIT, (name, turns)
        assert best["redraws"] == 1, (name, turns)  # no redraw of the mesh before
    held = [turn["held"] for turns in told["changes"].values() for turn in turns]
    assert median(held) < WAIT + 0.1
    print(f"a large relief {[round(turn['held'], 3) for turn in told['heavy']]} s held up")
    assert min(turn["held"] for turn in told["heavy"]) < WAIT + 0.1
    assert told["many"] < WAIT + 0.2
    assert told["wide"] == pytest.approx(told["asked"], abs=0.02)
