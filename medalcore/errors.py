"""What goes wrong, told in one line a person can act on.

Every error the core raises on purpose is a `MedalError`. The message says what is
wrong, where, and what would be right; interfaces show it as it is, without a traceback.
"""

from __future__ import annotations

import unicodedata

_LONGEST = 600
"""Characters of a message: what is longer loses its middle."""

_RAW = ("Cc", "Cs", "Zl", "Zp")
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""What must not reach a terminal as it is: controls (Unicode categories Cc, Cs, Zl, Zp), and
those that turn the order of what follows (UAX #9, 2.1 and 2.2)."""


def printable(text: str) -> str:
    r"""Return a text with its control characters written out, as ``\\x1b``."""
    return "".join(
        c.encode("unicode_escape").decode()
        if unicodedata.category(c) in _RAW or c in _TURNING
        else c
        for c in text
    )


def one_line(text: str) -> str:
    """Return a message as one line that a terminal can take, without its middle if it is long."""
    line = printable(" ".join(text.split()))
    return line if len(line) <= _LONGEST else shortened(line, _LONGEST)


def shortened(text: str, longest: int = 100) -> str:
    """Return a text with its middle left out if it is longer than `longest` characters."""
    if len(text) <= longest:
        return text
    half = longest // 2
    return f"{text[:half]} [...] {text[-half:]}"


class MedalError(Exception):
    """The root of everything the core raises on purpose."""


class SpecError(MedalError, ValueError):
    """A spec asks for something that is not a spec, or not allowed.

    Parameters
    ----------
    message : str
        What is wrong and what would be right.
    key : str
        Dotted path of the key, such as ``obverse.relief[0].height``; may be empty.
    file : str
        The file the spec was read from; may be empty.
    """

    def __init__(self, message: str, *, key: str = "", file: str = "") -> None:
        self.key = key
        self.file = file
        self.plain = message
        super().__init__(": ".join(part for part in (file, key, message) if part))

    def at(self, prefix: str) -> SpecError:
        """Return the same error with `prefix` put before its key."""
        inner = self.key if self.key.startswith("[") or not self.key else f".{self.key}"
        return SpecError(self.plain, key=f"{prefix}{inner}", file=self.file)


class SourceError(MedalError, ValueError):
    """A model, picture, drawing or font cannot be used."""


class SolidError(MedalError, RuntimeError):
    """Geometry did not come out as one closed solid."""


class DeliveryError(MedalError, RuntimeError):
    """Files cannot be written, or must not be replaced."""


class Cancelled(MedalError):
    """The caller asked the build to stop."""
