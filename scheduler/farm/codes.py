"""Label codes of strains: short, quick to write on a plug's stem, and hard to misread.

A code is given once and kept for life; the book holds it. This module finds codes that could be taken for one another
and proposes free ones. Which signs look alike is a choice made from handwriting on wet plastic: common practice, no source.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, product

from scheduler.farm.farm import Farm

LOOK_ALIKE = ("0ODQ", "1IL7", "5S", "8B", "UVY", "2Z", "6G", "MN")
"""Signs a smudge or a hurried pen turns into one another."""

LONGEST = 4
_READS_AS = {sign: family[0] for family in LOOK_ALIKE for sign in family}


def smudged(code: str) -> str:
    """A code as it reads at its worst: every sign as the first of its family of look-alikes; lower case counts as upper."""
    return "".join(_READS_AS.get(sign, sign) for sign in code.upper())


def distance(a: str, b: str) -> int:
    """Levenshtein distance: fewest signs put in, left out or changed to turn one text into the other."""
    row = list(range(len(b) + 1))
    for i, sign in enumerate(a, 1):
        left, row[0] = row[0], i
        for j, other in enumerate(b, 1):
            left, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, left + (sign != other))
    return row[-1]


def likeness(a: str, b: str) -> str:
    """How two codes could be mixed up: ``"same"``, ``"look-alike"``, ``"one sign apart"``, or ``""``."""
    if a.upper() == b.upper():
        return "same"
    if smudged(a) == smudged(b):
        return "look-alike"
    return "one sign apart" if distance(a.upper(), b.upper()) < 2 else ""


def _shapes(name: str) -> Iterator[str]:
    """Codes that recall a name, the most telling first."""
    words = [w for w in re.split(r"[^A-Z0-9]+", name.upper()) if w] or ["X"]
    joined = "".join(words)
    initials = "".join(w[0] for w in words)
    consonants = joined[0] + re.sub("[AEIOU]", "", joined[1:])
    if len(words) > 1:
        yield initials[:LONGEST]
        yield (words[0][0] + words[1])[:3]
        yield (words[0][:2] + words[1][0])[:3]
        yield (words[0][:2] + words[1][:2])[:LONGEST]
    yield consonants[:2]
    yield consonants[:3]
    yield joined[:2]
    yield joined[:3]
    for i, j in combinations(range(1, len(joined)), 2):
        yield joined[0] + joined[i] + joined[j]
    for j in range(1, len(joined)):
        yield joined[0] + joined[j]
    for digit in "3479":
        yield initials[:2] + digit
    for i, j, k in combinations(range(1, min(len(joined), 14)), 3):
        yield joined[0] + joined[i] + joined[j] + joined[k]


def _shorter(code: str) -> set[str]:
    return {code[:i] + code[i + 1 :] for i in range(len(code))}


def _holed(code: str) -> set[str]:
    return {f"{code[:i]}_{code[i + 1 :]}" for i in range(len(code))}


def propose(name: str, taken: Collection[str]) -> str:
    """A free code for a name: 2 to 4 signs, none like a taken one even when smudged, two signs apart where one is free.

    Raises ``ValueError`` if every code that recalls the name is taken.
    """
    worst = {smudged(t) for t in taken}
    shorter, holed = ({v for w in worst for v in kind(w)} for kind in (_shorter, _holed))
    second = ""
    for code in dict.fromkeys(_shapes(name)):
        read = smudged(code)
        if not 2 <= len(code) <= LONGEST or read in worst:
            continue
        if read not in shorter and worst.isdisjoint(_shorter(read)) and holed.isdisjoint(_holed(read)):
            return code
        second = second or code
    if not second:
        raise ValueError(f"no free code recalls {name!r}")
    return second


@lru_cache(maxsize=64)
def label_codes(farm: Farm) -> Mapping[str, str]:
    """Label code of every strain: the book's, or for a strain without one a free code that recalls its name.

    Proposals come in the order of the book, unlike every code in it and on the racks and unlike each other.
    """
    stems = {lot.lot.split("-", 1)[0] for lot in farm.lots if lot.alive and "-" in lot.lot}
    found = {s.strain: s.code for s in farm.strains if s.code}
    taken = {*found.values(), *stems}
    for row in farm.strains:
        if not row.code:
            found[row.strain] = _free(row.name, taken)
            taken.add(found[row.strain])
    return found


def _free(name: str, taken: Collection[str]) -> str:
    """A free code for a name; where all that recall it are taken, the first that is free at all."""
    with contextlib.suppress(ValueError):
        return propose(name, taken)
    worst = {smudged(t) for t in taken}
    signs = [family[-1] for family in LOOK_ALIKE] + sorted(set("ACEFHJKPRTWX34790") - set("".join(LOOK_ALIKE)))
    codes = ("".join(code) for length in (3, 4) for code in product(signs, repeat=length))
    return next(code for code in codes if smudged(code) not in worst)


@dataclass(frozen=True)
class Clash:
    """Two living strains whose codes could be mixed up, how, and a free code for the second of them."""

    strain: str
    other: str
    how: str
    proposal: str


def living(farm: Farm) -> frozenset[str]:
    """Strains with a colony, or with frags alive on racks."""
    return frozenset(c.strain for c in farm.colonies) | frozenset(lot.strain for lot in farm.lots if lot.alive)


def code_clashes(farm: Farm) -> tuple[Clash, ...]:
    """Codes of living strains that could be mixed up; the strain further down the book is named first, with a free code.

    Codes a single sign apart are a clash only where a code farther off is free.
    """
    alive = living(farm)
    strains = [s for s in farm.strains if s.strain in alive]
    given = label_codes(farm)
    codes = [given[s.strain] for s in strains]
    proposals: dict[tuple[str, bool], tuple[str, bool]] = {}
    found = []
    for i, j in _suspects(codes):
        other, strain = strains[i], strains[j]
        how = likeness(codes[j], codes[i])
        if not how or not strain.code or not other.code:
            continue
        asked = (strain.strain, how == "same")
        if asked not in proposals:
            rest = [c for c in codes if c != codes[j]] + ([codes[j]] if how == "same" else [])
            proposals[asked] = _farther_off(strain.name, rest)
        proposal, clear = proposals[asked]
        if how == "one sign apart" and not clear:
            continue
        found.append(Clash(strain.strain, other.strain, how, proposal))
    return tuple(found)


def _suspects(codes: Sequence[str]) -> list[tuple[int, int]]:
    """Pairs of codes (by number) that share a reading: all that are alike are among them."""
    by_reading: dict[str, list[int]] = {}
    for number, code in enumerate(codes):
        text = code.upper()
        for reading in {text, smudged(code), *_shorter(text), *_holed(text)}:
            by_reading.setdefault(reading, []).append(number)
    return sorted({pair for members in by_reading.values() for pair in combinations(members, 2)})


def _farther_off(name: str, taken: Sequence[str]) -> tuple[str, bool]:
    """A free code for a name (empty if there is none), and whether it is like none of the others."""
    try:
        proposal = propose(name, taken)
    except ValueError:
        return "", False
    return proposal, not any(likeness(proposal, c) for c in taken)


def reused_codes(farm: Farm) -> tuple[tuple[str, str], ...]:
    """(lot, strain): lots with frags alive whose label begins with the code now given to another strain."""
    owner = {s.code: s.strain for s in farm.strains if s.code}
    found = []
    for lot in farm.lots:
        stem = lot.lot.split("-", 1)[0]
        holder = owner.get(stem)
        if lot.alive and "-" in lot.lot and holder not in (None, lot.strain):
            found.append((lot.lot, str(holder)))
    return tuple(found)
