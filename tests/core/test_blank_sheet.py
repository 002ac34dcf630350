"""The contact sheet is made of pieces that still build, and its pictures still render."""

import numpy as np
from script import script

from medalcore import build
from medalcore.spec import spec_from_dict

sheet = script("blank_sheet")


def test_a_picture_of_the_sheet_shows_the_piece(monkeypatch):
    assert len({title for title, _, _ in sheet.PIECES}) >= 12
    monkeypatch.setattr(sheet, "TILE", (240, 190))
    _, metal, plain = sheet.PIECES[1]
    medal = build(spec_from_dict({"medal": {"metal": metal}, **plain}), quality="draft")
    pixels = np.asarray(sheet.picture_of(medal)).astype(float)
    assert pixels.shape == (190, 240, 3)
    middle, corner = pixels[85:105, 110:130].mean(axis=(0, 1)), pixels[:8, :8].mean(axis=(0, 1))
    assert middle[0] - middle[2] > 30.0  # copper
    assert abs(corner[0] - corner[2]) < 12.0  # paper
