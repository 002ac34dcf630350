"""Fixtures that several tests share."""

from functools import partial
from pathlib import Path

import pytest
from models import lumpy_head

from medalcore.deliver import deliver


@pytest.fixture(scope="session")
def head_file(tmp_path_factory) -> Path:
    """Return a model file with loose shells and overhangs."""
    path = tmp_path_factory.mktemp("models") / "head.stl"
    lumpy_head().export(path)
    return path


@pytest.fixture
def small_pictures(monkeypatch) -> None:
    """Let the command write pictures of 64 pixels: full ones take seconds, twice."""
    monkeypatch.setattr("medalcore.deliver.deliver", partial(deliver, size=64))
