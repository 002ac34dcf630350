"""What is asked is what is made, whatever happens meanwhile: undo, deletion, files reopened."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_window import SCENES, keep
from window import Blender


def test_undo_and_deletion_while_a_fine_build_runs(screen: Blender, tmp_path: Path) -> None:
    picture = tmp_path / "undo_while_building.png"
    told = screen.photograph(SCENES / "undo_while_building.py", picture, wait=400)
    keep(picture)
    assert "Traceback" not in told["log"]
    assert (told["stale"], told["over"]) == (True, "cancelled")
    assert told["asked"] == [44.0, True]
    assert told["undone"] == ["draft", pytest.approx(44.0, abs=0.05), 0]
    assert told["redone"] == ["draft", pytest.approx(44.0, abs=0.05), 1]  # redo was not lost
    assert told["changed"] == ["draft", pytest.approx(45.0, abs=0.05), "cancelled", True]
    assert told["fine"] == ["fine", pytest.approx(45.0, abs=0.05)]
    assert told["after_fine"] == [pytest.approx(45.0, abs=0.05), True]
    assert told["deleted"] == [False, "cancelled", True]
    assert told["brought_back"][1:] == [pytest.approx(45.0, abs=0.05), True]
    gone = "obverse.relief[0].source: object 'Suzanne' was deleted"
    assert "Obverse, Relief 1, Source: object 'Suzanne' was deleted" in told["refused"]
    message, current, written = told["lost"]
    assert message.startswith(gone)
    assert (current, written) == (False, False)


def test_files_opened_again_come_up_to_date_by_themselves(screen: Blender, tmp_path: Path) -> None:
    picture = tmp_path / "reopened.png"
    told = screen.photograph(SCENES / "reopened.py", picture, wait=300)
    keep(picture)
    assert "Traceback" not in told["log"]
    assert told["early"] == ["draft", pytest.approx(36.0, abs=0.05), True]
    assert told["fine"] == ["fine", pytest.approx(40.0, abs=0.05), True]
    assert told["appended_early"] == ["draft", pytest.approx(36.0, abs=0.05), True, True, ""]
    assert told["appended_fine"] == ["fine", pytest.approx(40.0, abs=0.05), True, True, ""]
    assert told["linked"] == ["fine", pytest.approx(40.0, abs=0.05), True, True, ""]
