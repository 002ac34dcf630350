r"""Medalwright's core: from a spec to a two-sided piece as one closed solid.

>>> import medalcore
>>> spec = medalcore.parse_spec('[blank]\ndiameter = 20.0')
>>> medal = medalcore.build(spec, "draft")
>>> medal.is_closed
True
"""

import os.path
import sys
from itertools import pairwise

__version__ = "0.1.0"


def _is_program() -> bool:
    """Tell whether this is loaded to run its own command line or worker."""
    if sys.argv[:1] == ["-m"]:  # so while what runs is being looked for
        return any(a == "-m" and b.split(".")[0] == __name__ for a, b in pairwise(sys.orig_argv))
    name = os.path.basename(sys.argv[0]) if sys.argv else ""
    return os.path.splitext(name)[0] == __name__


# The command line loads what it needs itself: so help comes at once, and Ctrl+C is in its hands.
if not _is_program():
    from .build import build
    from .cache import StageCache
    from .element import Finding, Model
    from .errors import Cancelled, MedalError, SolidError, SourceError, SpecError
    from .grid import HeightField, height_field
    from .medal import Medal
    from .spec import MedalSpec, parse_spec, read_spec, write_spec

__all__ = [
    "Cancelled",
    "Finding",
    "HeightField",
    "Medal",
    "MedalError",
    "MedalSpec",
    "Model",
    "SolidError",
    "SourceError",
    "SpecError",
    "StageCache",
    "build",
    "height_field",
    "parse_spec",
    "read_spec",
    "write_spec",
]
