"""Sculpting in the real window: a brush in a hand, its mode, its undo, the worker process."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_window import SCENES, keep
from window import Blender


def test_strokes_are_kept_undone_and_dropped(screen: Blender, tmp_path: Path) -> None:
    picture = tmp_path / "sculpting.png"
    told = screen.photograph(SCENES / "sculpting.py", picture, wait=300)
    keep(picture)
    assert "Traceback" not in told["log"]
    assert told["mode"] == "SCULPT"
    assert told["beats"] >= 2
    assert told["active"].startswith("Medal Relief")
    assert told["left_out"] is True
    smooth, once, twice, undone, redone = told["heights"]
    assert once > smooth + 0.02
    assert twice > once + 0.02
    assert (undone, redone) == (pytest.approx(once, abs=1e-6), pytest.approx(twice, abs=1e-6))
    assert told["still_sculpting"] == "SCULPT"
    assert told["points"] > 150_000
    assert told["waited"] is True
    assert told["again"] == "OBJECT"
    assert told["risen"] == pytest.approx(twice - smooth, abs=0.04)
    assert told["still"] == told["kept"]
    assert told["later"] == pytest.approx(told["risen"], abs=0.04)
    assert told["dropped"] is True
    assert told["back"] == told["kept"]
    assert told["back_height"] == pytest.approx(0.0, abs=0.01)
    assert told["inflated"] > 0.005
    assert told["deflated"] == pytest.approx(0.0, abs=1e-6)
