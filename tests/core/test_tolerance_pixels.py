"""Large reliefs get more pixels, within what memory bears."""

import pytest

from medalcore.context.tolerance import tolerance_for


@pytest.mark.parametrize(
    ("quality", "size", "pixels"),
    [("fine", 20.0, 1024), ("fine", 60.0, 1536), ("fine", 90.0, 2048), ("draft", 90.0, 512)],
)
def test_pixels_follow_the_size(quality: str, size: float, pixels: int) -> None:
    """A relief of 90 mm has pixels of 44 micrometres at fine, not 88."""
    assert tolerance_for(quality).pixels_of(size) == pixels
