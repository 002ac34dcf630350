"""The real window: what a person sees and does there, through the worker process."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from window import Blender

SCENES = Path(__file__).resolve().parent / "scenes"


def keep(picture: Path) -> None:
    """Copy a picture to the folder named by MEDALWRIGHT_PICTURES, to be looked at."""
    folder = os.environ.get("MEDALWRIGHT_PICTURES")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
        shutil.copy(picture, folder)


def pixels(picture: Path) -> Any:
    return np.asarray(Image.open(picture).convert("RGB"), dtype=np.float64)


def test_a_medal_stands_in_the_window(screen: Blender, tmp_path: Path) -> None:
    """The piece fills the middle of the view in bronze, and the panel stands beside it."""
    picture = tmp_path / "first_medal.png"
    told = screen.photograph(SCENES / "first_medal.py", picture)
    keep(picture)
    assert told["zones"] == "field,rim,edge,relief,legend"
    assert "Traceback" not in told["log"]
    # right, up, and out of the face; a medal is turned about its upright axis, a coin about
    # its level one: common practice, no source
    assert told["seen"] == {
        "obverse medal": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
        "reverse medal": [[-1, 0, 0], [0, 1, 0], [0, 0, -1]],
        "reverse coin": [[1, 0, 0], [0, -1, 0], [0, 0, -1]],
    }
    colours = pixels(picture)
    middle = colours[350:650, 500:750]  # red above green above blue
    assert np.all(middle.mean(axis=(0, 1))[:-1] > middle.mean(axis=(0, 1))[1:])
    assert middle.std(axis=(0, 1)).max() > 4.0  # a relief, not a flat patch
    panel = colours[90:600, 960:1210]
    assert (panel.min(axis=2) > 150).mean() > 0.01  # words on it


def test_changes_undo_and_errors_in_the_window(screen: Blender, tmp_path: Path) -> None:
    picture = tmp_path / "live_changes.png"
    told = screen.photograph(SCENES / "live_changes.py", picture, wait=240)
    keep(picture)
    assert told["gone"] is True  # one step takes the whole medal back
    assert told["first"] == pytest.approx(40.0, abs=0.05)
    assert told["changed"] == pytest.approx(30.0, abs=0.05)
    assert told["undone"] == pytest.approx([30.0, 30.0], abs=0.05)
    assert told["redone"] == pytest.approx([50.0, 50.0], abs=0.05)
    assert told["kept"] is True
    assert told["running"] == ["RUNNING_MODAL"]
    assert told["fine"] == "fine"
    assert told["escaped"] == "draft"
    assert told["stopped"] == "draft"
    assert told["log"].count(" triangles in ") == 1  # of three starts only one came to its end
    assert told["files"] == [
        "medal.3mf", "medal.report.json", "medal.stl", "obverse.png", "reverse.png"
    ]  # fmt: skip
    assert told["report"]["closed"] is True
    assert told["objects"] == 1
    assert "Traceback" not in told["log"]
    assert max(told["seconds"]) < 10.0
