"""Which strains rest on values nobody has published or counted."""

from __future__ import annotations

from scheduler.book.checks.ledger import Ledger
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm

WEAK = ("memory", "common practice", "farm choice")
"""Evidence that counts as unsourced."""


def unsourced(farm: Farm) -> list[tuple[str, tuple[str, ...]]]:
    """(strain, traits) for every strain with traits whose source is missing or weak.

    A group's row covers its strains, except where a strain has a value of its own: that wants a row of its own.
    """
    evidence = {(s.group, s.strain, s.trait): s.evidence for s in farm.sources}
    found = []
    for strain in farm.strains:
        weak = []
        for trait in Traits.model_fields:
            owner = strain.strain if getattr(strain, trait) is not None else None
            if evidence.get((strain.group, owner, trait), WEAK[0]) in WEAK:
                weak.append(trait)
        if weak:
            found.append((strain.strain, tuple(weak)))
    return found


def check_sources(farm: Farm, ledger: Ledger) -> None:
    """One doubt a group, and one for each strain whose own values are unsourced."""
    total = len(Traits.model_fields)
    weak = dict(unsourced(farm))
    told: set[str] = set()
    for index, strain in enumerate(farm.strains):
        traits = weak.get(strain.strain, ())
        own = [t for t in traits if getattr(strain, t) is not None]
        shared = [t for t in traits if getattr(strain, t) is None]
        if own:
            found = f"{strain.strain}: own values without a good source ({', '.join(own)})"
            ledger.doubt("strains", index, own[0], found, "rows in sources")
        if shared and strain.group not in told:
            told.add(strain.group)
            at = next(i for i, g in enumerate(farm.groups) if g.group == strain.group)
            few = ", ".join(shared[:6]) + (f" and {len(shared) - 6} more" if len(shared) > 6 else "")
            found = f"{len(shared)} of {total} traits of {strain.group} without a good source ({few})"
            ledger.doubt("groups", at, "group", found, "rows in sources, better than memory or custom")
