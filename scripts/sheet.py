"""What scripts that draw a sheet of pictures share: tiles with captions, and a command line."""

import argparse
import math
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from environment import ROOT, ensure

GREY = (60, 58, 54)
PAPER = (226, 226, 224)


def built(title: str, metal: str, plain: dict):
    """Return the piece of a spec; leave the script if it is not closed."""
    from medalcore import build
    from medalcore.spec import spec_from_dict

    medal = build(spec_from_dict({"medal": {"name": title, "metal": metal}, **plain}))
    if not medal.is_closed:
        sys.exit(f"'{title}' is not closed")
    print(f"{title}: {len(medal.triangles)} triangles, {medal.mass_g:.2f} g")
    return medal


def draw_sheet(target: Path, tiles: Iterable, count: int, columns: int, letters: int) -> None:
    """Lay pictures of one size out in rows, each above its caption, and write the sheet.

    Parameters
    ----------
    tiles : iterable of (caption, pixels)
        Their paper is evened out, so that they join.
    count : int
        How many there are.
    letters : int
        Size of the captions, pixels.
    """
    from PIL import Image, ImageDraw, ImageFont

    from medalcore.elements.lettering.fonts import find_typeface

    font = ImageFont.truetype(str(find_typeface("sans").file), letters)
    margin, caption = round(1.6 * letters), round(2.3 * letters)
    sheet = None
    for number, (text, pixels) in enumerate(tiles):
        tile = Image.fromarray(evened(pixels, PAPER))
        if sheet is None:
            rows = math.ceil(count / columns)
            size = (columns * tile.width, rows * (tile.height + caption))
            sheet = Image.new("RGB", (size[0] + 2 * margin, size[1] + 2 * margin), PAPER)
            pen = ImageDraw.Draw(sheet)
        x = margin + number % columns * tile.width
        y = margin + number // columns * (tile.height + caption)
        sheet.paste(tile, (x, y))
        below = (x + tile.width / 2, y + tile.height + 0.8 * letters)
        pen.text(below, text, GREY, font, anchor="mm")
    assert sheet is not None
    target.parent.mkdir(parents=True, exist_ok=True)
    sheet.save(target)
    print(target)


def evened(pixels, paper: tuple[int, int, int]):
    """Return a picture with the fall of light on its paper taken out, so that tiles join.

    A surface of second order is laid through the border; the picture is brought to the
    paper's colour by it.
    """
    import numpy as np

    rows, cols = pixels.shape[:2]
    v, u = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, cols), indexing="ij")
    terms = np.stack([np.ones_like(u), u, v, u * u, v * v, u * v, u * u * v, u * v * v], axis=-1)
    border = np.zeros((rows, cols), dtype=bool)
    border[:3], border[-3:], border[:, :3], border[:, -3:] = True, True, True, True
    fit, *_ = np.linalg.lstsq(terms[border], pixels[border].astype(float), rcond=None)
    even = pixels * (np.array(paper) / np.maximum(terms @ fit, 1.0))
    return np.clip(np.round(even), 0, 255).astype(np.uint8)


def run(file: str, about: str, draw: Callable[[Path], None]) -> int:
    """Run a script's `draw` in the project's own environment; return the exit status."""
    name = Path(file).stem.replace("_", "-")
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("--out", type=Path, default=Path(f"{name}.png"))
    parser.add_argument("--here", action="store_true", help="use the Python that runs this")
    args = parser.parse_args()
    if args.here:
        draw(args.out.absolute())
        return 0
    command = [str(ensure()), file, "--here", "--out", str(args.out.absolute())]
    return subprocess.call(command, cwd=str(ROOT / "scripts"))
