"""The specs of the golden set: each a name and a few lines of TOML; files lie beside this one."""

from __future__ import annotations

import re

_HEAD = '[medal]\nname = "Golden"\n'

_ALL = """
# round plain
[blank]
diameter = 30.0
thickness = 2.5

# reeded round
[blank]
diameter = 38.0
thickness = 2.8
[edge]
finish = "reeded"
reeds = 120
depth = 0.25

# slanted square reeds, in sections
[blank]
diameter = 34.0
thickness = 3.0
[edge]
finish = "reeded"
reeds = 60
profile = "square"
slant = 12.0

# grooved, stepped rims
[blank]
diameter = 34.0
thickness = 4.0
rim = {width = 2.0, height = 0.5, section = "stepped"}
[edge]
finish = "grooved"

# oval with a lug
[blank]
outline = "oval"
diameter = 40.0
height = 30.0
thickness = 2.5
loop = {kind = "lug"}

# rectangle with an eye, rounded rim
[blank]
outline = "rectangle"
diameter = 36.0
height = 24.0
corner_radius = 3.0
thickness = 2.6
loop = {kind = "eye"}
rim = {width = 1.6, height = 0.4, section = "rounded"}

# hexagon, reeded, with a hole along its outline
[blank]
outline = "polygon"
sides = 6
diameter = 32.0
corner_radius = 1.5
thickness = 2.2
hole = {shape = "outline", size = 10.0}
[edge]
finish = "reeded"
reeds = 72

# seven sides of constant width
[blank]
outline = "constant-width"
sides = 7
diameter = 27.3
thickness = 1.8

# scalloped, lobes
[blank]
outline = "scalloped"
scallops = 8
diameter = 30.0
thickness = 2.0

# scalloped, notches, hollow field
[blank]
outline = "scalloped"
scallops = 7
scallop_shape = "notches"
diameter = 26.0
thickness = 2.4
[obverse.field]
dish = 0.15

# a drawn outline with a rounded edge break
[blank]
outline = "drawing"
drawing = "shield.svg"
diameter = 30.0
thickness = 2.4
break_shape = "round"

# domed and hollow
[blank]
diameter = 32.0
thickness = 3.0
[obverse.field]
dish = 0.3
[reverse.field]
dish = -0.2

# square hole, drilled hole
[blank]
diameter = 30.0
thickness = 2.0
hole = {shape = "square", size = 6.0}
drill = {diameter = 1.5, inset = 3.0}

# a ring with a core
[blank]
diameter = 26.0
thickness = 2.2
core = {diameter = 17.0, metal = "cupronickel", lock = 0.2}

# panels and circles
[blank]
diameter = 40.0
thickness = 3.4
[[obverse.field.panel]]
shape = "rectangle"
size = 14.0
height = 0.25
[[reverse.field.circle]]
radius = 12.0
height = -0.2

# bevelled rims, filleted
[blank]
diameter = 34.0
thickness = 3.0
rim = {width = 2.0, height = 0.5, section = "bevelled", fillet = 0.15}

# words on the edge, sunk
[blank]
diameter = 40.0
thickness = 4.0
[edge.text]
words = "FENNICK LIGHT"
cap_height = 2.0

# words on the edge, raised, over reeds
[blank]
diameter = 40.0
thickness = 4.0
[edge]
finish = "reeded"
reeds = 140
[edge.text]
words = "LIGHT"
form = "raised"
cap_height = 1.6

# legends top and bottom
[blank]
diameter = 40.0
[[obverse.legend]]
text = "FENNICK LIGHT"
cap_height = 2.4
[[obverse.legend]]
text = "150 YEARS"
at = "bottom"
cap_height = 2.4

# sunk and vee and rounded words
[blank]
diameter = 40.0
[[obverse.inscription]]
text = "AGW"
cap_height = 5.0
work = "sunk"
section = "vee"
[[reverse.inscription]]
text = "Rg&"
cap_height = 5.0
section = "rounded"

# an exergue
[blank]
diameter = 40.0
[[obverse.exergue]]
text = "1876"
level = 10.0

# bent legend over a domed field
[blank]
diameter = 36.0
thickness = 3.4
[obverse.field]
dish = -0.2
[[obverse.legend]]
text = "KEEPERS OF THE LIGHT"
form = "bent"
follow = true

# beads
[blank]
diameter = 36.0
[[obverse.border]]
kind = "beads"
count = 80

# denticles with a gap
[blank]
diameter = 36.0
[[obverse.border]]
kind = "denticles"
gap = 40.0

# rope on an oval
[blank]
outline = "oval"
diameter = 40.0
height = 32.0
[[obverse.border]]
kind = "rope"

# lines and motifs
[blank]
diameter = 40.0
[[obverse.border]]
kind = "line"
lines = 2
[[reverse.border]]
kind = "motif"
drawing = "leaf.svg"
size = 3.0

# emblem in levels
[blank]
diameter = 36.0
[[obverse.emblem]]
drawing = "lamp.svg"
work = "levels"
fit = 16.0

# emblem sunk
[blank]
diameter = 36.0
[[obverse.emblem]]
drawing = "leaf.svg"
work = "sunk"
fit = 16.0

# cells
[blank]
diameter = 36.0
thickness = 3.0
[[obverse.emblem]]
drawing = "flag.svg"
work = "cells"
fit = 20.0

# rays and stipple
[blank]
diameter = 30.0
[[obverse.texture]]
kind = "rays"
inner = 3.0
outer = 11.0
[[reverse.texture]]
kind = "stipple"
outer = 8.0

# rings, matt
[blank]
diameter = 30.0
[[obverse.texture]]
kind = "rings"
inner = 5.0
outer = 10.0
[[reverse.texture]]
kind = "matt"
outer = 6.0

# a relief with draft
[blank]
diameter = 36.0
[[obverse.relief]]
source = "object:figure"
fit = 22.0
height = 0.6

# a relief without draft, linear
[blank]
diameter = 36.0
[[obverse.relief]]
source = "object:figure"
fit = 22.0
height = 0.6
draft = 0.0
compression = "linear"

# a relief on a dished field, with a blend, words round it
[blank]
diameter = 40.0
thickness = 3.2
[obverse.field]
dish = 0.15
[[obverse.relief]]
source = "object:figure"
fit = 20.0
height = 0.5
blend = 0.5
[[obverse.legend]]
text = "FENNICK LIGHT"

# a flat drawing as relief
[blank]
diameter = 36.0
[[obverse.relief]]
source = "lamp.svg"
fit = 18.0
height = 0.5

# a swelling drawing as relief
[blank]
diameter = 36.0
[[obverse.relief]]
source = "leaf.svg"
fit = 18.0
height = 0.5
flat = {shoulder = 2.0}

# a height field
[blank]
diameter = 36.0
[[obverse.relief]]
source = "array:shell"
fit = 20.0
height = 0.5

# asked by its mass
[blank]
diameter = 32.0
mass = 20.0
[edge]
finish = "reeded"
reeds = 90
"""


def pieces() -> dict[str, str]:
    """Return the specs by name."""
    parts = re.split(r"^# (.+)\n", _ALL, flags=re.MULTILINE)[1:]
    return {name: _HEAD + body for name, body in zip(parts[::2], parts[1::2], strict=True)}
