"""A changed number of blank or edge is on screen within 0.3 s, Blender's own drawing aside."""

from __future__ import annotations

from pathlib import Path
from statistics import median

import pytest
from test_window import SCENES, keep
from window import Blender

LIMIT = 0.3
"""Seconds, as asked for at draft quality."""

BUSY = 1.3
"""A turn does not count where a computation just before it took so many times too long:
then other programs hold the processors."""

WAIT = 0.2
"""Seconds a change may hold Blender up; what follows is the mesh written into Blender."""


def test_changes_are_in_the_next_redraw(screen: Blender, tmp_path: Path) -> None:
    """Best of a few turns.

    What a machine with a graphics card spends on drawing is next to nothing; here the
    processor draws. So Blender's own redraw, measured in the same run, is taken off.
    """
    picture = tmp_path / "quick_changes.png"
    told = screen.photograph(SCENES / "quick_changes.py", picture, size=(1280, 720), wait=300)
    keep(picture)
    assert "Traceback" not in told["log"]
    assert told["zones"] == "field,rim,edge,relief,legend,border"
    host = min(turn["all"] for turn in told["host"])
    print(f"\nBlender's own redraw {host:.3f} s; {told['triangles']} triangles")
    assert set(told["changes"]) == {
        "diameter", "thickness", "chamfer", "rim height", "reeds", "reed depth"
    }  # fmt: skip
    for name, turns in told["changes"].items():
        quiet = [turn for turn in turns if turn["busy"] < BUSY]
        if not quiet:
            pytest.skip(f"other programs hold the processors: {name} cannot be timed")
        best = min(quiet, key=lambda turn: turn["all"])
        ours = best["all"] - host
        print(f"{name:11} {best['all']:.3f} s, without Blender's own redraw {ours:.3f} s")
        assert ours < LIMIT, (name, turns)
        assert best["redraws"] == 1, (name, turns)  # no redraw of the mesh before
    held = [turn["held"] for turns in told["changes"].values() for turn in turns]
    assert median(held) < WAIT + 0.1
    print(f"a large relief {[round(turn['held'], 3) for turn in told['heavy']]} s held up")
    assert min(turn["held"] for turn in told["heavy"]) < WAIT + 0.1
    assert told["many"] < WAIT + 0.2
    assert told["wide"] == pytest.approx(told["asked"], abs=0.02)
