"""Sculpting in the real window: its mode, its undo, the worker process."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_window import SCENES, keep
from window import Blender


def test_strokes_are_kept_undone_and_redone(screen: Blender, tmp_path: Path) -> None:
    picture = tmp_path / "sculpting.png"
    told = screen.photograph(SCENES / "sculpting.py", picture, wait=300)
    keep(picture)
    assert "Traceback" not in told["log"]
    assert told["mode"] == "SCULPT"
    assert told["active"].startswith("Medal Relief")
    assert told["left_out"] is True
    assert told["again"] == "OBJECT"
    assert told["risen"] == pytest.approx(0.15, abs=0.04)
    assert told["still"] == told["kept"]
    assert told["undone"] is True
    assert told["sheet"] is True
    assert told["redone"] == told["kept"]
