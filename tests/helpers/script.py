"""The one way in which tests reach into `scripts/`: a script that is their subject, as a module."""

import importlib
import sys
from pathlib import Path
from types import ModuleType

SCRIPTS = Path(__file__).resolve().parents[2] / "scripts"

SUBJECTS = {
    "blank_sheet": "its pieces must build, and one of its pictures is looked at",
    "build_extension": "its lock, its manifest, and what goes into a ZIP are tried piece by piece",
    "environment": "what it says of a wrong Python is tried on stand-ins for Pythons",
    "fennick.models": "the demo's models are measured",
    "fennick.scene": "and held against what composes them",
    "flat_wheel": "wheels made up by the tests are flattened",
    "pythons": "which Python is found is tried on stand-ins",
    "test": "what is run, and in which order, is tried without running it",
}
"""Scripts that tests have for a subject, and why to load them and not to run them as programs."""


def script(name: str) -> ModuleType:
    """Load a script that is a test's subject.

    Whatever else tests need lives beside them; other scripts are run as programs.
    """
    if name not in SUBJECTS:
        raise LookupError(f"scripts/{name} is the subject of no test; say in {__file__} why")
    before = sys.path
    sys.path = [str(SCRIPTS), *before]  # a script's own imports are of its neighbours
    try:
        return importlib.import_module(name)
    finally:
        sys.path = before
