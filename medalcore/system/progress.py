"""A progress bar for the command line."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tqdm import tqdm


@contextmanager
def bar() -> Iterator[Callable[[float, str], None]]:
    """Give a function (fraction, label) that draws a bar on a terminal, and nothing elsewhere."""
    if sys.stderr is None:  # closed
        yield lambda fraction, label: None
        return
    form = "{desc:<24} {bar} {percentage:3.0f}% {elapsed}"
    with tqdm(total=1.0, bar_format=form, disable=None, leave=False) as drawn:

        def tell(fraction: float, label: str) -> None:
            drawn.set_description_str(label, refresh=False)
            drawn.update(max(0.0, fraction - drawn.n))

        yield tell
