"""The report as a JSON file."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import PurePath
from typing import Any

import numpy as np

from ..context.medal import Medal


def report_bytes(medal: Medal) -> bytes:
    """Return the report of a piece as JSON: UTF-8, two spaces, keys in alphabetical order."""
    text = json.dumps(plain(medal.report), indent=2, sort_keys=True, ensure_ascii=False)
    return (text + "\n").encode("utf-8")


def plain(value: Any) -> Any:
    """Return a value as what JSON can say.

    Numpy numbers and arrays become numbers and lists, keys become text, and a number that
    is not finite becomes null, because JSON has no word for it (RFC 8259, section 6).
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, (set, frozenset)):
        return sorted(plain(item) for item in value)
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, PurePath):
        return value.as_posix()
    return value
