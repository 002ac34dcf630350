"""EXR pictures: which of the channels hold heights, and which hold distances from the eye.

OpenEXR, *Technical Introduction* (openexr.com): rows run downwards; a layer's name stands
before a channel's, parted by a dot; Z is a distance from the viewer; colours are multiplied
with their A. Blender names depth passes ``ViewLayer.Depth.Z``, sets 1e10 where nothing was hit,
and from 5.0 on gives every pass a part of its own (measured with Blender 4.2 and 5.2).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .....errors import SourceError
from .....geometry.types import BoolArray, Float32Array
from .samples import LARGEST, Samples

_FAR, _FAR_HALF = 1e9, 65504.0
"""Distances from which nothing was hit: of 32 bits, and the largest number of 16 bits."""


@dataclass(frozen=True)
class _Layer:
    """Channels that belong together, by their last names."""

    part: int
    name: str
    channels: dict[str, str]

    @property
    def word(self) -> str:
        return self.name.rpartition(".")[2].lower()

    @property
    def is_distance(self) -> bool:
        """Tell whether it counts from the eye; X, Y, Z together are a direction or a place."""
        if "X" in self.channels:
            return False
        return "Z" in self.channels or "DEPTH" in self.channels or self.word in ("depth", "z")

    @property
    def height(self) -> list[str]:
        """Names of the channels that hold heights or distances: none, one or three."""
        if "X" in self.channels:
            return []
        if {"R", "G", "B"} <= set(self.channels) and not {"Z", "DEPTH"} & set(self.channels):
            return [self.channels[key] for key in "RGB"]
        one = next((k for k in ("Z", "DEPTH", "V", "Y", "R") if k in self.channels), None)
        return [] if one is None else [self.channels[one]]

    @property
    def rank(self) -> tuple[bool, ...]:
        """Sort depth passes first, then what a person sees first."""
        usual = self.word in ("", "depth", "z", "combined")
        return not self.is_distance, "mist" in self.word, not usual


def exr_samples(name: str) -> tuple[Samples, tuple[str, ...]]:
    """Read the heights of an EXR file.

    Returns
    -------
    samples : Samples
        Distances are turned round: 1 is nearest, 0 is farthest. Where nothing was hit it is NaN.
    notes : tuple of str
        Which channel was taken where there was a choice, and what distances stand for.

    Raises
    ------
    SourceError
        If no channel holds heights.
    ImportError
        If the library is not there.
    """
    import OpenEXR  # type: ignore[import-not-found,import-untyped,unused-ignore]

    with OpenEXR.File(name, header_only=True) as file:
        layers = _layers(name, [part.header for part in file.parts])
    usable = sorted((layer for layer in layers if layer.height), key=lambda layer: layer.rank)
    if not usable:
        found = ", ".join(c for layer in layers for c in layer.channels.values()) or "none"
        raise SourceError(
            f"{name}: has no channel Z, V, Y or R to take heights from; it has {found[:120]}"
        )
    layer = usable[0]
    with OpenEXR.File(name, separate_channels=True) as file:
        pixels = {key: channel.pixels for key, channel in file.channels(layer.part).items()}
    stored = np.stack([pixels[key] for key in layer.height], axis=-1)
    cover = pixels.get(layer.channels.get("A", ""))
    taken = layer.height[0]
    notes = () if len(usable) == 1 else (f"{name}: heights are taken from {taken}",)
    values = stored.astype(np.float32)
    far = values >= (_FAR_HALF if stored.dtype == np.float16 else _FAR)
    if layer.is_distance or far.any():
        values, span = _turned(values[..., 0], far[..., 0])
        return Samples(values[..., None], _cover(cover)), (
            *notes,
            f"{name}: {taken} holds distances from the eye; the nearest, {span[0]:.4g}, "
            f"counts as white, the farthest, {span[1]:.4g}, as black",
        )
    return Samples(values, _cover(cover), multiplied=True), notes


def _cover(cover: Any) -> Float32Array | None:
    return None if cover is None else np.asarray(cover, dtype=np.float32)


def _layers(name: str, headers: list[dict[str, Any]]) -> list[_Layer]:
    found: dict[tuple[int, str], dict[str, str]] = {}
    for part, header in enumerate(headers):
        if "deep" in str(header.get("type")):
            raise SourceError(f"{name}: holds deep samples; save it flat, one value a pixel")
        (left, top), (right, bottom) = header["dataWindow"]
        cols, rows = int(right) - int(left) + 1, int(bottom) - int(top) + 1
        if not 0 < rows * cols <= LARGEST:
            raise SourceError(f"{name}: is {cols} x {rows} pixels, more than can be read")
        title = str(header.get("name", ""))
        for channel in header["channels"]:
            if channel.xSampling != 1 or channel.ySampling != 1:
                continue  # colour differences of fewer pixels
            layer, _, last = channel.name.rpartition(".")
            found.setdefault((part, layer or title), {})[last.upper()] = channel.name
    return [_Layer(part, layer, channels) for (part, layer), channels in found.items()]


def _turned(values: Float32Array, far: BoolArray) -> tuple[Float32Array, tuple[float, float]]:
    """Turn distances round: nearest 1, farthest 0, NaN where nothing was hit."""
    hit = np.isfinite(values) & ~far
    near = values[hit & (values > 0)]
    if len(near) and (values[hit] == 0).any() and near.min() > 0.05 * near.max():
        hit &= values != 0  # some programs write 0 where nothing was hit
    if not hit.any():
        return np.full_like(values, np.nan), (np.nan, np.nan)
    low, high = float(values[hit].min()), float(values[hit].max())
    turned = (np.float32(high) - values) / np.float32((high - low) or 1.0)
    return np.where(hit, turned, np.float32(np.nan)), (low, high)
