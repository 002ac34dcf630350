"""The worker process, spoken to as the add-on does. Needs no Blender."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
BLANK = {"blank": {"diameter": 30.0}}


class Talk:
    """A worker and the lines exchanged with it."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "medalcore.worker"],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        self.seen: list[dict[str, Any]] = []

    def say(self, **message: Any) -> None:
        """Send a request."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(message).encode() + b"\n")
        self.process.stdin.flush()

    def hear(self, *events: str) -> dict[str, Any]:
        """Read until one of the events comes."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            answer: dict[str, Any] = json.loads(line)  # a stray print would fail here
            self.seen.append(answer)
            if answer["event"] in events:
                return answer
        raise AssertionError(f"the worker ended: {self.process.stderr.read()!r}")  # type: ignore


@pytest.fixture
def talk() -> Iterator[Talk]:
    worker = Talk()
    assert worker.hear("ready")
    yield worker
    worker.process.kill()
    worker.process.wait()
    for pipe in (worker.process.stdin, worker.process.stdout, worker.process.stderr):
        pipe.close()  # type: ignore[union-attr]


def test_a_build_comes_back_as_arrays(talk: Talk, tmp_path: Path) -> None:
    out = tmp_path / "piece.npz"
    talk.say(do="build", id=5, spec=BLANK, quality="draft", out=str(out))
    done = talk.hear("done", "error")
    assert done["event"] == "done"
    assert done["id"] == 5
    assert done["report"]["closed"] is True
    with np.load(out) as data:
        assert data["triangles"].shape == (done["report"]["triangles"], 3)
        assert data["zone"].max() == len(done["zone_names"]) - 1
        wide = np.ptp(data["vertices"][:, 0])
    assert wide == pytest.approx(30.0, abs=0.01)


def test_a_wrong_spec_is_one_line(talk: Talk) -> None:
    talk.say(do="build", id=1, spec={"blank": {"diamter": 3}}, quality="draft")
    error = talk.hear("done", "error")
    assert error["event"] == "error"
    assert error["kind"] == "SpecError"
    assert "blank.diamter" in error["message"]
    assert "diameter" in error["message"]
    assert "\n" not in error["message"]


def test_it_goes_on_after_errors_and_noise(talk: Talk) -> None:
    assert talk.process.stdin is not None
    talk.process.stdin.write(b"no json at all\n\n")
    talk.say(do="dance", id=2)
    assert "'dance' is no request" in talk.hear("error")["message"]
    talk.say(do="build", id=3, spec=BLANK, quality="middling")
    assert "middling" in talk.hear("error")["message"]
    talk.say(do="build", id=4, spec=BLANK, quality="draft")
    assert talk.hear("done", "error")["event"] == "done"


def test_a_cancelled_build_stops_and_the_next_one_runs(talk: Talk) -> None:
    talk.say(do="cancel", id=8)
    talk.say(do="build", id=8, spec=BLANK, quality="fine")
    talk.say(do="build", id=9, spec=BLANK, quality="draft")
    assert talk.hear("cancelled", "done", "error") == {"id": 8, "event": "cancelled"}
    assert talk.hear("cancelled", "done", "error")["event"] == "done"


def test_models_travel_as_files(talk: Talk, tmp_path: Path) -> None:
    """A pyramid from a .npz stands on the field at the height asked for."""
    corners = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0], [0, 0, 1.0]])
    faces = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4], [0, 2, 1], [0, 3, 2]])
    model, out = tmp_path / "model.npz", tmp_path / "piece.npz"
    np.savez(model, vertices=corners, triangles=faces)
    relief = {"source": "object:Pyramid", "fit": 12.0, "height": 0.6, "compression": "linear"}
    talk.say(
        do="build", id=1, quality="draft", spec={**BLANK, "obverse": {"relief": [relief]}},
        models={"object:Pyramid": str(model)}, out=str(out),
    )  # fmt: skip
    done = talk.hear("done", "error")
    assert done["event"] == "done", done
    assert "relief" in done["zone_names"]
    with np.load(out) as data:
        points = data["vertices"][np.unique(data["triangles"][
            data["zone"] == done["zone_names"].index("relief")
        ])]  # fmt: skip
    field = 1.5 - 0.3  # half the thickness less the rim's height, by default
    assert points[:, 2].max() - field == pytest.approx(0.6, abs=0.01)


def test_finished_stages_are_kept_between_requests(talk: Talk) -> None:
    """The same words again cost next to nothing, by the worker's own clock."""
    words = {"text": "ALPHABET OF LETTERS AND NUMBERS", "cap_height": 2.0}
    spec = {**BLANK, "obverse": {"legend": [words]}}
    seconds = []
    for number in (1, 2):
        talk.say(do="build", id=number, spec=spec, quality="fine")
        done = talk.hear("done", "error")
        assert done["event"] == "done", done
        seconds.append(done["report"]["seconds"]["legend"])
    assert seconds[1] < 0.2 * seconds[0]


def test_it_ends_with_its_caller(talk: Talk) -> None:
    assert talk.process.stdin is not None
    talk.process.stdin.close()
    assert talk.process.wait(10) == 0


def test_delivery_is_refused_before_the_work(talk: Talk, tmp_path: Path) -> None:
    (tmp_path / "medal.stl").write_text("mine")
    deliver = {"folder": str(tmp_path), "overwrite": False, "size": 64}
    talk.say(do="build", id=1, spec=BLANK, quality="draft", deliver=deliver)
    error = talk.hear("done", "error")
    assert error["event"] == "error"
    assert "medal.stl" in error["message"]
    assert (tmp_path / "medal.stl").read_text() == "mine"
    talk.say(do="build", id=2, spec=BLANK, quality="draft", deliver={**deliver, "overwrite": True})
    done = talk.hear("done", "error")
    assert done["event"] == "done"
    assert all(Path(name).exists() for name in done["files"])
    assert len(done["files"]) == 5
