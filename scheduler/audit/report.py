"""What the audit hands back: the rules a plan breaks and what it is really worth."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from scheduler.plan.model import Line


@dataclass(frozen=True)
class Breach:
    """One broken rule. ``things`` names lots, colonies, weeks and so on; ``text`` says what was found and the limit."""

    rule: str
    things: tuple[str, ...]
    text: str

    def __str__(self) -> str:
        return f"{self.rule} ({', '.join(self.things)}): {self.text}" if self.things else f"{self.rule}: {self.text}"


@dataclass(frozen=True)
class Report:
    """The audit of a plan. ``lines`` and ``value`` are the audit's own; empty and 0 where a plan cannot be read at all.

    ``uneven`` is the largest difference of use between tanks of one light class, in percentage points.
    """

    breaches: tuple[Breach, ...]
    lines: tuple[Line, ...]
    value: Decimal
    uneven: Decimal

    @property
    def clean(self) -> bool:
        """Whether no rule is broken."""
        return not self.breaches

    @property
    def rules(self) -> frozenset[str]:
        """Ids of the rules broken."""
        return frozenset(b.rule for b in self.breaches)
