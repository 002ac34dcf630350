"""Specs for tests that run over several kinds of a table with one set of keys."""

import copy
import re

import msgspec

from medalcore.spec import MedalSpec, spec_from_dict, unused


def counting(data):
    """Return plain data of a spec without the keys that have no effect beside the others."""
    data = copy.deepcopy(data)
    for one in unused(msgspec.convert(data, MedalSpec), data):
        *inner, name = re.split(r"[.\[\]]+", one.key)
        table = data
        for step in inner:
            table = table[int(step) if step.isdigit() else step]
        del table[name]
    return data


def counted(data):
    """Return the spec of plain data, without the keys that have no effect beside the others."""
    return spec_from_dict(counting(data))
