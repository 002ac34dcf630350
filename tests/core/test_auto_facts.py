"""What a key that is left to be chosen says of itself is true of the report of a build."""

from collections.abc import Iterator

import numpy as np
import pytest

from medalcore import build, height_field, parse_spec
from medalcore.spec import Key, MedalSpec, Table, keys_of

SPECS = {
    "Edge": '[edge]\nfinish = "reeded"',
    "EdgeText": '[edge.text]\nwords = "LIGHT"',
    "Relief": '[[obverse.relief]]\nsource = "array:dome"',
    "Legend": '[[obverse.legend]]\ntext = "LIGHT"',
    "Exergue": '[[obverse.exergue]]\ntext = "LIGHT"',
    "Border": '[[obverse.border]]\nkind = "beads"',
}
"""Pieces on which a table leaves all to be chosen."""


def left_to_be_chosen(table: type[Table] = MedalSpec) -> Iterator[tuple[str, Key]]:
    """Yield table and key of what is chosen while it is 0."""
    seen = set()
    waiting = [table]
    while waiting:
        table = waiting.pop()
        if table not in seen:
            seen.add(table)
            waiting += [key.table for key in keys_of(table) if key.table]
            yield from ((table.__name__, key) for key in keys_of(table) if key.auto)


TOLD = [(table, key) for table, key in left_to_be_chosen() if key.auto.fact]


@pytest.fixture(scope="module")
def facts() -> dict:
    """Return what the report says of the element of each table."""
    y, x = np.mgrid[-1:1:60j, -1:1:60j]
    dome = np.where(np.hypot(x, y) < 1, 1 - x**2 - y**2, np.nan)
    models = {"array:dome": height_field(dome, pixel=0.05)}
    found = {}
    for table, text in SPECS.items():
        elements = build(parse_spec(text), "draft", models=models).report["elements"]
        place = "blank" if text.startswith("[edge") else f"obverse.{table.lower()}[0]"
        found[table] = elements[place]
    return found


@pytest.mark.parametrize(("table", "key"), TOLD, ids=[f"{t}.{k.name}" for t, k in TOLD])
def test_the_fact_of_what_was_chosen_is_reported(facts, table, key):
    value = facts[table][key.auto.fact]
    assert np.max(value) > 0


def test_what_is_left_to_be_chosen_is_zero_and_starts_within_its_limits():
    assert len(TOLD) > 12
    for table, key in left_to_be_chosen():
        assert key.default == 0, (table, key.name)
        assert key.high is None or 0 < key.auto.start <= key.high, (table, key.name)
