"""The building process is killed by the system: a real Blender lives, says so, builds again.

Only a real Blender shows it: the bpy wheels leave SIGPIPE as a plain Python does, ignored.
"""

from __future__ import annotations

import signal
import sys
from pathlib import Path

import pytest
from test_window import SCENES, keep
from window import Blender


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGPIPE")
def test_blender_outlives_the_building_process(screen: Blender, tmp_path: Path) -> None:
    picture = tmp_path / "dead_worker.png"
    told = screen.photograph(SCENES / "dead_worker.py", picture, wait=240)
    keep(picture)
    assert told["signal"] == signal.SIG_DFL  # else this Blender cannot show what it should
    wide, error, note = told["idle"]
    assert wide == pytest.approx(36.0, abs=0.05)
    assert error == ""
    assert note == "The building process had ended; another one was started"
    assert told["stopped"] == ["draft", "", ""]
    quality, error, _ = told["middle"]
    assert quality == "draft"
    assert error == "The building process ended unexpectedly; try again"
    assert told["again"] == ["fine", "", ""]
    assert told["disabled"] is True
    assert told["enabled"] == ["draft", "", ""]
    assert "Traceback" not in told["log"]
