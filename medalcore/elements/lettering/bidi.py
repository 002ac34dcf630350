"""The order in which mixed left-to-right and right-to-left text is written.

The Unicode Bidirectional Algorithm (Unicode Standard Annex #9, rules named in the
comments) for one paragraph that is one line, including isolates, embeddings and paired
brackets. Character classes come from Python's own Unicode database.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

_DEEPEST = 125
_STRONG = {"L": "L", "R": "R", "AL": "R"}
_NEUTRAL = frozenset({"B", "S", "WS", "ON", "LRI", "RLI", "FSI", "PDI"})
_REMOVED = frozenset({"RLE", "LRE", "RLO", "LRO", "PDF", "BN"})
_ISOLATES = frozenset({"LRI", "RLI", "FSI"})


def _pairs() -> dict[str, str]:
    """Return closing brackets by opening ones (Bidi_Paired_Bracket: mirrored Ps before Pe)."""
    pairs = {"[": "]", "{": "}"}
    for code in range(0x28, 0xFF63):
        a, b = chr(code), chr(code + 1)
        if (
            unicodedata.mirrored(a)
            and unicodedata.category(a) == "Ps"
            and unicodedata.category(b) == "Pe"
        ):
            pairs[a] = b
    return pairs


_BRACKETS = _pairs()
_CLOSERS = {b: a for a, b in _BRACKETS.items()}


@dataclass(frozen=True)
class Run:
    """A stretch of text at one level: `text[start:stop]`, right-to-left at odd levels."""

    start: int
    stop: int
    level: int


def base_level(text: str) -> int:
    """Return 0 for a left-to-right paragraph, 1 for a right-to-left one (P2, P3)."""
    depth = 0
    for c in text:
        kind = unicodedata.bidirectional(c)
        if kind in _ISOLATES:
            depth += 1
        elif kind == "PDI":
            depth = max(depth - 1, 0)
        elif depth == 0 and kind in _STRONG:
            return 0 if kind == "L" else 1
    return 0


def levels(text: str, base: int | None = None) -> list[int]:
    """Return the embedding level of every character."""
    base = base_level(text) if base is None else base
    kinds = [unicodedata.bidirectional(c) or "L" for c in text]
    original = list(kinds)
    result = _explicit(text, kinds, base)
    for sequence, start, stop in _sequences(original, result, base):
        _weak(sequence, kinds, start)
        _paired(text, sequence, kinds, original, start, result)
        _neutral(sequence, kinds, start, stop, result)
        for i in sequence:  # I1, I2
            if result[i] % 2 == 0:
                result[i] += {"R": 1, "AN": 2, "EN": 2}.get(kinds[i], 0)
            elif kinds[i] in ("L", "EN", "AN"):
                result[i] += 1
    for i, kind in enumerate(original):  # 5.2: removed characters go with what is before
        if kind in _REMOVED:
            result[i] = result[i - 1] if i else base
    at_end = True
    for i in range(len(text) - 1, -1, -1):  # L1
        if original[i] in ("B", "S"):
            at_end = True
        elif not (original[i] in ("WS", "BN") or original[i] in _ISOLATES | _REMOVED | {"PDI"}):
            at_end = False
        if at_end:
            result[i] = base
    return result


def visual_runs(text: str, base: int | None = None) -> list[Run]:
    """Return the level runs from left to right (L2)."""
    if not text:
        return []
    of = levels(text, base)
    runs, start = [], 0
    for i in range(1, len(text) + 1):
        if i == len(text) or of[i] != of[start]:
            runs.append(Run(start, i, of[start]))
            start = i
    highest = max(r.level for r in runs)
    for level in range(highest, 0, -1):
        i = 0
        while i < len(runs):
            j = i
            while j < len(runs) and runs[j].level >= level:
                j += 1
            runs[i:j] = runs[i:j][::-1]
            i = max(j, i + 1)
    return runs


def _explicit(text: str, kinds: list[str], base: int) -> list[int]:
    """Rules X1 to X8: levels from embeddings, overrides and isolates."""
    stack: list[tuple[int, str, bool]] = [(base, "", False)]
    result = [base] * len(text)
    over_isolates = over_embeddings = valid = 0
    for i, kind in enumerate(list(kinds)):
        level, override, _ = stack[-1]
        if kind in ("RLE", "LRE", "RLO", "LRO"):
            result[i] = level
            new = level + 1 + (level % 2 if kind[0] == "R" else 1 - level % 2)
            if new <= _DEEPEST and not over_isolates and not over_embeddings:
                stack.append((new, kind[0] if kind[2] == "O" else "", False))
            elif not over_isolates:
                over_embeddings += 1
        elif kind in _ISOLATES:
            result[i] = level
            if override:
                kinds[i] = override
            right = kind == "RLI" or (kind == "FSI" and base_level(_inner(text, i)) == 1)
            new = level + 1 + (level % 2 if right else 1 - level % 2)
            if new <= _DEEPEST and not over_isolates and not over_embeddings:
                valid += 1
                stack.append((new, "", True))
            else:
                over_isolates += 1
        elif kind == "PDI":
            if over_isolates:
                over_isolates -= 1
            elif valid:
                over_embeddings = 0
                while not stack[-1][2]:
                    stack.pop()
                stack.pop()
                valid -= 1
            result[i] = stack[-1][0]
            if stack[-1][1]:
                kinds[i] = stack[-1][1]
        elif kind == "PDF":
            result[i] = level
            if over_isolates:
                continue
            if over_embeddings:
                over_embeddings -= 1
            elif not stack[-1][2] and len(stack) > 1:
                stack.pop()
        elif kind != "B":
            result[i] = level
            if override and kind != "BN":
                kinds[i] = override
    return result


def _inner(text: str, start: int) -> str:
    """Return what an isolate at `start` encloses."""
    depth = 0
    for i in range(start + 1, len(text)):
        kind = unicodedata.bidirectional(text[i])
        if kind in _ISOLATES:
            depth += 1
        elif kind == "PDI":
            if depth == 0:
                return text[start + 1 : i]
            depth -= 1
    return text[start + 1 :]


def _sequences(original: list[str], of: list[int], base: int) -> list[tuple[list[int], str, str]]:
    """Return the isolating run sequences with their sos and eos (X9, X10)."""
    kept = [i for i, k in enumerate(original) if k not in _REMOVED]
    runs: list[list[int]] = []
    for i in kept:
        if runs and of[runs[-1][-1]] == of[i]:
            runs[-1].append(i)
        else:
            runs.append([i])
    match = _matching(original)
    first_of = {run[0]: run for run in runs}
    closers = set(match.values())
    found = []
    for run in runs:
        if original[run[0]] == "PDI" and run[0] in closers:
            continue
        sequence = list(run)
        while original[sequence[-1]] in _ISOLATES and match.get(sequence[-1]) in first_of:
            sequence += first_of[match[sequence[-1]]]
        place = {i: k for k, i in enumerate(kept)}
        a, b = place[sequence[0]], place[sequence[-1]]
        here = of[sequence[0]]
        before = of[kept[a - 1]] if a else base
        open_end = original[sequence[-1]] in _ISOLATES
        after = base if open_end or b + 1 >= len(kept) else of[kept[b + 1]]
        found.append((sequence, _turn(max(before, here)), _turn(max(after, here))))
    return found


def _matching(original: list[str]) -> dict[int, int]:
    """Return the PDI that ends each isolate (BD9)."""
    stack: list[int] = []
    match: dict[int, int] = {}
    for i, kind in enumerate(original):
        if kind in _ISOLATES:
            stack.append(i)
        elif kind == "PDI" and stack:
            match[stack.pop()] = i
    return match


def _turn(level: int) -> str:
    return "R" if level % 2 else "L"


def _weak(sequence: Sequence[int], kinds: list[str], start: str) -> None:
    """Rules W1 to W7."""
    before = start
    for i in sequence:  # W1
        if kinds[i] == "NSM":
            kinds[i] = "ON" if before in _ISOLATES or before == "PDI" else before
        before = kinds[i]
    strong = start
    for i in sequence:  # W2, W3
        if kinds[i] in ("L", "R", "AL"):
            strong = kinds[i]
            if strong == "AL":
                kinds[i] = "R"
        elif kinds[i] == "EN" and strong == "AL":
            kinds[i] = "AN"
    for a, b, c in zip(sequence, sequence[1:], sequence[2:], strict=False):  # W4
        if kinds[a] == kinds[c] and (
            (kinds[b] == "ES" and kinds[a] == "EN")
            or (kinds[b] == "CS" and kinds[a] in ("EN", "AN"))
        ):
            kinds[b] = kinds[a]
    for order in (sequence, sequence[::-1]):  # W5
        before = ""
        for i in order:
            if kinds[i] == "ET" and before == "EN":
                kinds[i] = "EN"
            before = kinds[i]
    strong = start
    for i in sequence:  # W6, W7
        if kinds[i] in ("ES", "ET", "CS"):
            kinds[i] = "ON"
        elif kinds[i] in ("L", "R"):
            strong = kinds[i]
        elif kinds[i] == "EN" and strong == "L":
            kinds[i] = "L"


def _side(kind: str) -> str:
    """Return the direction a type counts as for N0 to N2; nothing for neutrals."""
    return {"L": "L", "R": "R", "EN": "R", "AN": "R"}.get(kind, "")


def _paired(
    text: str,
    sequence: Sequence[int],
    kinds: list[str],
    original: list[str],
    start: str,
    of: list[int],
) -> None:
    """Rule N0: brackets take the direction of what they hold."""
    stack: list[tuple[str, int]] = []
    pairs = []
    for k, i in enumerate(sequence):
        if kinds[i] != "ON":
            continue
        c = unicodedata.normalize("NFC", text[i])
        if c in _BRACKETS:
            if len(stack) >= 63:
                break
            stack.append((_BRACKETS[c], k))
        elif c in _CLOSERS:
            for depth in range(len(stack) - 1, -1, -1):
                if stack[depth][0] == c:
                    pairs.append((stack[depth][1], k))
                    del stack[depth:]
                    break
    embedding = _turn(of[sequence[0]])
    for a, b in sorted(pairs):
        inner = {_side(kinds[sequence[k]]) for k in range(a + 1, b)} - {""}
        if embedding in inner:
            chosen = embedding
        elif inner:
            context = next(
                (s for k in range(a - 1, -1, -1) if (s := _side(kinds[sequence[k]]))), start
            )
            chosen = context if context != embedding else embedding
        else:
            continue
        for k in (a, b):
            kinds[sequence[k]] = chosen
            for m in range(k + 1, len(sequence)):
                if original[sequence[m]] != "NSM":
                    break
                kinds[sequence[m]] = chosen


def _neutral(
    sequence: Sequence[int], kinds: list[str], start: str, stop: str, of: list[int]
) -> None:
    """Rules N1 and N2."""
    k = 0
    while k < len(sequence):
        if kinds[sequence[k]] not in _NEUTRAL:
            k += 1
            continue
        j = k
        while j < len(sequence) and kinds[sequence[j]] in _NEUTRAL:
            j += 1
        before = _side(kinds[sequence[k - 1]]) if k else start
        after = _side(kinds[sequence[j]]) if j < len(sequence) else stop
        for i in sequence[k:j]:
            kinds[i] = before if before == after else _turn(of[i])
        k = j
