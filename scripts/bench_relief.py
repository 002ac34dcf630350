"""Score relief compression on many models: linear scaling beside ours, and what ours costs.

Every model is set 22 mm wide or high and brought to a height, both ways. The table tells the
reading score of both (see `reading_score`), the coverage of ours, and the time of the whole
compression at 1024 pixels as a multiple of one real Fourier transform there and back of a
square of the same size, in the same run. Models are made here; those in the folder that
MEDALWRIGHT_MESHES names join them.

    python scripts/bench_relief.py --sheet sheet.png
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.append(str(Path(__file__).resolve().parents[1] / "tests" / "helpers"))

from compared_models import HEIGHT, raw_fields
from reading_score import MODEL_LIGHT, RELIEF_LIGHT, coverage, reading_score, shaded

from medalcore.elements.relief.compression.compress import compress
from medalcore.geometry.grid import HeightField
from medalcore.spec import Relief


def cost(raw: HeightField, spec: Relief, runs: int = 5) -> float:
    """Return the time of a compression over that of a Fourier transform there and back."""
    square = np.random.default_rng(0).normal(size=(max(raw.mask.shape),) * 2).astype(np.float32)
    ours, yardstick = [], []
    for _ in range(runs):
        start = time.perf_counter()
        compress(raw, spec)
        middle = time.perf_counter()
        np.fft.irfft2(np.fft.rfft2(square))
        ours.append(middle - start)
        yardstick.append(time.perf_counter() - middle)
    return min(ours) / min(yardstick)


def picture(model: np.ndarray, reliefs: list[np.ndarray], pixel: float, size: int) -> np.ndarray:
    """Return the source and its reliefs in raking light from the upper left, side by side."""
    tiles = []
    for heights, light in [(model, MODEL_LIGHT), *((r, RELIEF_LIGHT) for r in reliefs)]:
        grey = 0.5 / math.sin(math.radians(light)) * shaded(heights, pixel, light, 135.0)
        image = Image.fromarray(np.uint8(255 * np.clip(grey, 0, 1)))
        image.thumbnail((size, size), Image.Resampling.LANCZOS)
        tile = Image.new("L", (size, size), 128)
        tile.paste(image, ((size - image.width) // 2, (size - image.height) // 2))
        tiles.append(np.asarray(tile))
    return np.hstack(tiles)


def main() -> int:
    """Print the table, write the sheet, and fail if ours is not better everywhere."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("models", nargs="*", help="names of models; all without")
    parser.add_argument("--pixels", type=int, default=360, help="pixels across for the score")
    parser.add_argument("--height", type=float, default=HEIGHT, help="of the reliefs, mm")
    parser.add_argument("--other", action="store_true", help="models that nothing was tuned on")
    parser.add_argument("--no-time", action="store_true", help="leave the timing away")
    parser.add_argument("--sheet", type=Path, help="write a contact sheet to this PNG")
    arguments = parser.parse_args()
    ours, linear = (
        Relief(source="-", height=arguments.height, compression=kind)
        for kind in ("gradient", "linear")
    )
    print(f"{'model':22} linear   ours   gain  coverage  length mm  time/fft pair")
    scores, rows, large = [], [], {}
    if not arguments.no_time:
        large = dict(raw_fields(1024, arguments.models, other=arguments.other))
    for name, raw in raw_fields(arguments.pixels, arguments.models, other=arguments.other):
        made = [compress(raw, spec) for spec in (linear, ours)]
        heights = [made[0].field.heights, made[1].field.heights]
        # plain scaling, without the foot that ours gives the linear one too
        scaled = arguments.height * raw.heights / raw.heights.max()
        before, after = (
            reading_score(raw.heights, h, raw.mask, raw.grid.pixel) for h in (scaled, heights[1])
        )
        ratio = f"{cost(large[name], ours):13.1f}" if large else ""
        print(
            f"{name:22} {before:6.3f} {after:6.3f} {after - before:+6.3f} "
            f"{coverage(heights[1], raw.mask):9.3f} "
            f"{made[1].facts['flattened_from_mm']:10.2f}  {ratio}",
            flush=True,
        )
        scores.append((before, after, coverage(heights[1], raw.mask)))
        if arguments.sheet:
            rows.append(picture(raw.heights, [scaled, heights[1]], raw.grid.pixel, 360))
    mean = np.mean(scores, axis=0)
    print(f"{'mean':22} {mean[0]:6.3f} {mean[1]:6.3f} {mean[1] - mean[0]:+6.3f} {mean[2]:9.3f}")
    if arguments.sheet:
        if len(rows) % 2:
            rows.append(np.full_like(rows[0], 128))
        pairs = [np.hstack(rows[i : i + 2]) for i in range(0, len(rows), 2)]
        Image.fromarray(np.vstack(pairs)).save(arguments.sheet)
    worse = [s for s in scores if s[1] <= s[0] or s[2] < 1.0]
    return 1 if worse else 0


if __name__ == "__main__":
    raise SystemExit(main())
