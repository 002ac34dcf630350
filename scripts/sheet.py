"""What scripts that draw a sheet of pictures share: tiles with captions, and a command line."""

import argparse
import math
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from environment import ROOT, ensure

GREY = (60, 58, 54)


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
        The first picture's corner gives the colour of the paper.
    count : int
        How many there are.
    letters : int
        Size of the captions, pixels.
    """
    from PIL import Image, ImageDraw, ImageFont

    from medalcore.lettering.fonts import find_typeface

    font = ImageFont.truetype(str(find_typeface("sans").file), letters)
    margin, caption = round(1.6 * letters), round(2.3 * letters)
    sheet = None
    for number, (text, pixels) in enumerate(tiles):
        tile = Image.fromarray(pixels)
        if sheet is None:
            rows = math.ceil(count / columns)
            size = (columns * tile.width, rows * (tile.height + caption))
            paper = tile.getpixel((4, 4))
            sheet = Image.new("RGB", (size[0] + 2 * margin, size[1] + 2 * margin), paper)
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
