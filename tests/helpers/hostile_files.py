# ruff: noqa: E501 (tables are read better in long lines)
"""Sources as nobody should give them: damaged, lying, endless, absurd. Made, not kept.

Each maker writes one file into a folder and returns its name. All are told by their name in
`MODELS`, `PICTURES` and `DRAWINGS`; a piece that asks for one must either be built right, or be
refused with one line, in reasonable time and memory.
"""

from __future__ import annotations

import io
import json
import math
import random
import struct
import zipfile
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

Maker = Callable[[Path], str]


# ---- models


def stl(triangles: np.ndarray, count: int | None = None) -> bytes:
    """Return a binary STL of (n, 3, 3) corners that says it has `count` triangles."""
    rows = np.zeros(
        len(triangles), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
    )
    rows["corners"] = triangles
    return bytes(80) + struct.pack("<I", len(rows) if count is None else count) + rows.tobytes()


def dome(size: int = 24) -> np.ndarray:
    """Return the triangles (n, 3, 3) of a low dome."""
    x, y = np.meshgrid(np.linspace(-1, 1, size), np.linspace(-1, 1, size))
    points = np.stack([x, y, 0.4 * np.clip(1.0 - x * x - y * y, 0.0, None)], axis=-1)
    a, b, c, d = points[:-1, :-1], points[:-1, 1:], points[1:, :-1], points[1:, 1:]
    return np.concatenate(
        [np.stack([a, b, d], 2).reshape(-1, 3, 3), np.stack([a, d, c], 2).reshape(-1, 3, 3)]
    )


def _file(name: str, data: bytes | Callable[[], bytes]) -> Maker:
    def make(folder: Path) -> str:
        (folder / name).write_bytes(data() if callable(data) else data)
        return name

    return make


def _damaged(name: str, make: Callable[[], bytes], seed: int) -> Maker:
    """Return a maker of a file with a few bytes flipped, or cut short."""

    def damaged() -> bytes:
        chance = random.Random(seed)
        data = bytearray(make())
        if chance.random() < 0.3:
            return bytes(data[: chance.randrange(len(data))])
        for _ in range(chance.randrange(1, 12)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        return bytes(data)

    return _file(name, damaged)


def three_mf(model: str) -> bytes:
    """Return a 3MF package round the text of its model."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("3D/3dmodel.model", model)
    return held.getvalue()


_MODEL = (
    '<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
    "<resources>{}</resources><build>{}</build></model>"
)
_SOLID = (
    '<object id="1"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="9" y="0" z="0"/>'
    '<vertex x="0" y="9" z="0"/><vertex x="0" y="0" z="9"/></vertices><triangles>'
    '<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'
    '<triangle v1="1" v2="2" v3="3"/><triangle v1="0" v2="3" v3="2"/></triangles></mesh></object>'
)


def _doubling_3mf() -> bytes:
    double = "".join(
        f'<object id="{n}"><components><component objectid="{n - 1}"/>'
        f'<component objectid="{n - 1}"/></components></object>'
        for n in range(2, 32)
    )
    return three_mf(_MODEL.format(_SOLID + double, '<item objectid="31"/>'))


def _many_items_3mf() -> bytes:
    return three_mf(_MODEL.format(_SOLID, '<item objectid="1"/>' * 200000))


def glb(content: dict[str, object], blob: bytes) -> bytes:
    """Return a GLB of a glTF table and its numbers."""
    told = json.dumps(content).encode()
    told += b" " * (-len(told) % 4)
    blob += bytes(-len(blob) % 4)
    chunks = struct.pack("<II", len(told), 0x4E4F534A) + told
    chunks += struct.pack("<II", len(blob), 0x004E4942) + blob
    return struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks


def _gltf(nodes: list[dict[str, object]], *, count: int = 0, scale: float = 1.0) -> bytes:
    corners = (dome(8).reshape(-1, 3) * scale).astype("<f4")
    index = np.arange(len(corners), dtype="<u4")
    blob = corners.tobytes() + index.tobytes()
    return glb(
        {
            "asset": {"version": "2.0"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": nodes,
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
            "accessors": [
                {"bufferView": 0, "componentType": 5126, "count": count or len(corners),
                 "type": "VEC3", "min": corners.min(0).tolist(), "max": corners.max(0).tolist()},
                {"bufferView": 1, "componentType": 5125, "count": count or len(index),
                 "type": "SCALAR"},
            ],
            "bufferViews": [
                {"buffer": 0, "byteOffset": 0, "byteLength": corners.nbytes},
                {"buffer": 0, "byteOffset": corners.nbytes, "byteLength": index.nbytes},
            ],
            "buffers": [{"byteLength": len(blob)}],
        },
        blob,
    )  # fmt: skip


def _chain(length: int) -> bytes:
    nodes: list[dict[str, object]] = [
        {"children": [k + 1], "translation": [0.001, 0, 0]} for k in range(length)
    ]
    return _gltf([*nodes, {"mesh": 0}])


def _ring() -> bytes:
    return _gltf([{"children": [1], "mesh": 0}, {"children": [0]}])


def _matrix(value: float) -> bytes:
    m = [value, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    return _gltf([{"mesh": 0, "matrix": m}])


def obj(scale: str, tail: str = "") -> bytes:
    """Return an OBJ of a tetrahedron whose numbers end in `scale`."""
    lines = [f"v {x}{scale} {y}{scale} {z}{scale}" for x, y, z in ((1, 1, 1), (-1, -1, 1), (-1, 1, -1), (1, -1, -1))]  # fmt: skip
    return "\n".join([*lines, "f 1 2 3", "f 1 4 2", "f 1 3 4", "f 2 4 3", tail]).encode()


_TEXT_STL = (
    b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 nan\n"
    b"endloop\nendfacet\nendsolid x\n"
)

MODELS: Mapping[str, Maker] = {
    "a million copies of one triangle": _file(
        "copies.stl", lambda: stl(np.repeat(np.array([[[0, 0, 0], [5, 0, 1], [0, 5, 2.0]]]), 10**6, 0))
    ),
    "a million copies of a few": _file("few.stl", lambda: stl(np.tile(dome(12), (4200, 1, 1)))),
    "components that double": _file("double.3mf", _doubling_3mf),
    "items by the hundred thousand": _file("items.3mf", _many_items_3mf),
    "a chain of nodes": _file("chain.glb", lambda: _chain(5000)),
    "a ring of nodes": _file("ring.glb", _ring),
    "a count of 1e18": _file("count.glb", lambda: _gltf([{"mesh": 0}], count=10**18)),
    "a matrix of 1e300": _file("matrix.glb", lambda: _matrix(1e300)),
    "corners of 1e38": _file("far.glb", lambda: _gltf([{"mesh": 0}], scale=3e38)),
    "numbers of 1.7e308": _file("huge.obj", obj("e308", "v 1.7e308 -1.7e308 0")),
    "numbers of 1e-300": _file("tiny.obj", obj("e-300")),
    "faces of nothing": _file("none.obj", obj("", "f 1 1 1\nf 9 9 9")),
    "nan in text": _file("nan.stl", _TEXT_STL),
    "needles": _file("needle.stl", lambda: stl(dome(40) * [1.0, 1e-6, 1.0])),
    "one flat triangle": _file("one.stl", stl(np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0.0]]]))),
    "upright only": _file("wall.stl", stl(np.array([[[0, 0, 0], [1, 0, 0], [0, 0, 1.0]]]))),
    "a count that lies": _file("lies.stl", lambda: stl(dome(), 10**9)),
    "noise": _file("noise.stl", lambda: np.random.default_rng(1).bytes(50000)),
    **{f"a damaged STL {n}": _damaged(f"hurt{n}.stl", lambda: stl(dome()), n) for n in range(6)},
    **{f"a damaged GLB {n}": _damaged(f"hurt{n}.glb", lambda: _gltf([{"mesh": 0}]), n) for n in range(6)},
    **{f"a damaged 3MF {n}": _damaged(f"hurt{n}.3mf", lambda: three_mf(_MODEL.format(_SOLID, '<item objectid="1"/>')), n) for n in range(6)},
}  # fmt: skip


# ---- pictures


def png(cols: int, rows: int, lines: bytes, depth: int = 8, colour: int = 0) -> bytes:
    """Return a PNG of filtered lines."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    head = struct.pack(">IIBBBBB", cols, rows, depth, colour, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(lines, 6)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def _noise_png(size: int) -> bytes:
    grey = np.random.default_rng(2).integers(0, 256, (size, size + 1), dtype=np.uint8)
    grey[:, 0] = 0
    return png(size, size, grey.tobytes())


def _large_png(size: int) -> bytes:
    line = bytes(1) + bytes(np.linspace(0, 255, size).astype(np.uint8))
    return png(size, size, line * size)


def tiff(values: np.ndarray) -> bytes:
    """Return a TIFF of floating-point grey."""
    rows, cols = values.shape
    data = values.astype("<f4").tobytes()
    tags = ((256, cols), (257, rows), (258, 32), (259, 1), (262, 1), (273, 8), (277, 1),
            (278, rows), (279, len(data)), (339, 3))  # fmt: skip
    head = struct.pack("<2sHI", b"II", 42, 8 + len(data))
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags)
    return head + data + struct.pack("<H", len(tags)) + entries + bytes(4)


def _noise_tiff() -> bytes:
    return tiff(np.random.default_rng(3).random((700, 700)))


def _waves() -> bytes:
    x, y = np.meshgrid(np.arange(96.0), np.arange(96.0))
    return tiff(np.sin(x / 9.0) * np.cos(y / 7.0))


PICTURES: Mapping[str, Maker] = {
    "noise of 1500 pixels": _file("noise.png", lambda: _noise_png(1500)),
    "noise of floats": _file("noise.tif", _noise_tiff),
    "9000 pixels": _file("large.png", lambda: _large_png(9000)),
    "13000 pixels": _file("larger.png", lambda: _large_png(13000)),
    "floats up to 1e-40": _file("faint.tif", lambda: tiff(np.linspace(0, 1e-40, 64 * 64).reshape(64, 64))),
    "floats up to 1e38": _file("bright.tif", lambda: tiff(np.linspace(0, 3e38, 64 * 64).reshape(64, 64))),
    "one step of floats": _file("step.tif", lambda: tiff(np.nextafter(np.float32(1), np.float32(2)) * np.eye(64) + (1 - np.eye(64)))),
    "not a number": _file("nan.tif", lambda: tiff(np.full((64, 64), np.nan))),
    "one pixel": _file("pixel.png", png(1, 1, b"\0\xff")),
    "one line": _file("line.png", png(512, 1, bytes(1) + bytes(range(256)) * 2)),
    "a header that lies": _file("lies.png", png(60000, 60000, b"\0\xff")),
    **{f"a damaged TIFF {n}": _damaged(f"hurt{n}.tif", _waves, n) for n in range(8)},
    **{f"a damaged PNG {n}": _damaged(f"hurt{n}.png", lambda: _large_png(64), n) for n in range(8)},
}  # fmt: skip


# ---- drawings

_SVG = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="100" height="100" viewBox="0 0 100 100">'  # fmt: skip


def _drawn(inside: str, head: str = "", opening: str = _SVG) -> bytes:
    return f"{head}{opening}{inside}</svg>".encode()


def _entities(repeats: int) -> bytes:
    ten = "l1 0 0 1 -1 0z " * 10
    head = f'<!DOCTYPE svg [<!ENTITY a "{ten}">'
    for one, other in zip("abcd", "bcde", strict=True):
        head += f'<!ENTITY {other} "{f"&{one};" * 10}">'
    return _drawn(f'<path d="M20 20 {"&e;" * (repeats // 100000)}"/>', head + "]>")


def _uses(depth: int) -> bytes:
    inside = '<defs><rect id="g0" x="20" y="20" width="30" height="30"/>'
    for n in range(1, depth + 1):
        inside += (
            f'<g id="g{n}"><use xlink:href="#g{n - 1}"/><use xlink:href="#g{n - 1}" x="1"/></g>'
        )
    return _drawn(inside + f'</defs><use xlink:href="#g{depth}"/>')


def _many_paths(count: int) -> bytes:
    side = math.ceil(math.sqrt(count))
    step = 100 / side
    return _drawn(
        "".join(
            f'<path d="M{(n % side) * step:.3f} {(n // side) * step:.3f}h{0.6 * step:.3f}v{0.6 * step:.3f}z"/>'
            for n in range(count)
        )
    )


def _circles(count: int) -> bytes:
    chance = random.Random(4)
    return _drawn(
        "".join(
            f'<circle cx="{chance.uniform(10, 90):.2f}" cy="{chance.uniform(10, 90):.2f}" r="8" '
            f'fill="#{chance.randrange(0, 0xDDDDDD):06x}"/>'
            for _ in range(count)
        )
    )


def _star(corners: int) -> str:
    points = [
        (50 + 40 * math.cos(2.399 * n), 50 + 40 * math.sin(2.399 * n)) for n in range(corners)
    ]
    return "M" + " ".join(f"{x:.3f} {y:.3f}" for x, y in points) + "z"


_RECT = '<rect x="20" y="20" width="60" height="60"{}/>'

DRAWINGS: Mapping[str, Maker] = {
    "a path of a million turns": _file("entity.svg", lambda: _entities(10**6)),
    "uses that double": _file("uses.svg", lambda: _uses(25)),
    "20000 paths": _file("paths20k.svg", lambda: _many_paths(20000)),
    "100000 paths": _file("paths100k.svg", lambda: _many_paths(100000)),
    "5000 circles": _file("circles.svg", lambda: _circles(5000)),
    "a star of 4000 crossings": _file("star.svg", lambda: _drawn(f'<path d="{_star(4000)}"/>')),
    "opacity in percent": _file("opacity.svg", _drawn(_RECT.format(' opacity="50%"'))),
    "opacity by word": _file("half.svg", _drawn(_RECT.format(' opacity="half"'))),
    "no opacity": _file("clear.svg", _drawn(_RECT.format(' opacity="0%"') + _RECT.format(""))),
    "miter limit by word": _file("miter.svg", _drawn(_RECT.format(' stroke="#000" stroke-miterlimit="abc"'))),
    "stroke width by word": _file("width.svg", _drawn(_RECT.format(' stroke="#000" stroke-width="thick"'))),
    "cap by word": _file("cap.svg", _drawn('<path d="M20 20L80 80" stroke="#000" fill="none" stroke-linecap="nub" stroke-linejoin="weld"/>')),
    "colour by word": _file("paint.svg", _drawn(_RECT.format(' fill="octarine"'))),
    "width 1e308": _file("wide.svg", _drawn('<rect width="1e308" height="5"/>')),
    "width 1e400": _file("wider.svg", _drawn('<rect width="1e400" height="5"/>')),
    "scale 1e200": _file("scaled.svg", _drawn(_RECT.format(' transform="scale(1e200)"'))),
    "scale 1e-200": _file("shrunk.svg", _drawn(_RECT.format(' transform="scale(1e-200)"'))),
    "scale 0": _file("flat.svg", _drawn(_RECT.format(' transform="scale(0 1)"'))),
    "skew of 90": _file("skew.svg", _drawn(_RECT.format(' transform="skewX(89.9999999)"'))),
    "1e12 beside 1e-6": _file("spread.svg", _drawn('<rect width="1e-6" height="1e-6"/><rect x="1e12" width="1e-6" height="1e-6"/>')),
    "not a number": _file("nan.svg", _drawn('<path d="M nan nan L 5 5 L inf 0 z"/>')),
    "half a path": _file("half-path.svg", _drawn('<path d="M20 20 L80 80 L20 q"/>')),
    "an arc of no radius": _file("arc.svg", _drawn('<path d="M20 20 A0 5 0 1 1 80 80 A1e-9 1e-9 0 1 1 20 60z"/>')),
    "a stroke 1e-9 wide": _file("hair.svg", _drawn('<path d="M20 20L80 80" stroke="#000" stroke-width="1e-9"/>')),
    "a stroke wider than all": _file("broad.svg", _drawn('<path d="M50 50h1" stroke="#000" stroke-width="1e6"/>')),
    "a viewBox of nothing": _file("view.svg", _drawn(_RECT.format(""), "", _SVG.replace("0 0 100 100", "0 0 0 0"))),
    "percent of nothing": _file("percent.svg", b'<svg xmlns="http://www.w3.org/2000/svg"><rect width="50%" height="50%"/></svg>'),
    "touching corners": _file("touch.svg", _drawn('<path d="M20 20h30v30h-30z M50 50h30v30h-30z"/>')),
    "an edge on an edge": _file("edges.svg", _drawn('<path d="M20 20h30v30h-30z"/><path d="M50 20h30v30h-30z" fill="#777"/>')),
    "crossings": _file("bow.svg", _drawn('<path d="M20 20L80 80V20L20 80z"/>')),
    "the same twice": _file("twice.svg", _drawn(_RECT.format("") * 2)),
    "nothing": _file("nothing.svg", _drawn("")),
    "a laugh": _file("laugh.svg", _drawn('<text>&e;</text>', '<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "' + "&a;" * 50 + '"><!ENTITY c "' + "&b;" * 50 + '"><!ENTITY d "' + "&c;" * 50 + '"><!ENTITY e "' + "&d;" * 50 + '">]>')),
    "another file": _file("xxe.svg", _drawn("<text>&e;</text>", '<!DOCTYPE svg [<!ENTITY e SYSTEM "file:///etc/hostname">]>')),
    "a use of itself": _file("loop.svg", _drawn('<g id="a"><use xlink:href="#a"/><rect x="20" y="20" width="9" height="9"/></g>')),
    **{f"a damaged SVG {n}": _damaged(f"hurt{n}.svg", lambda: _circles(12), n) for n in range(8)},
}  # fmt: skip
