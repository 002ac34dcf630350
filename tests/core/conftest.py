"""Fixtures that several tests share."""

from pathlib import Path

import pytest
from models import lumpy_head


@pytest.fixture(scope="session")
def head_file(tmp_path_factory) -> Path:
    """Return a model file with loose shells and overhangs."""
    path = tmp_path_factory.mktemp("models") / "head.stl"
    lumpy_head().export(path)
    return path
