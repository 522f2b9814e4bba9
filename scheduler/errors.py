"""Everything this package raises on purpose.

FragSchedulerError
├── BookError        the farm book has faults (all of them listed; exit code 2)
├── RecordError      what the crew filled in has faults or gaps (all of them listed; exit code 2)
├── ChangeError      a what-if change or a pin given with the command cannot be read (exit code 2)
├── PinConflict      pins that cannot hold together (a minimal set is named; exit code 3)
├── NoPlanFound      time ran out before any plan was found, or a solver failed (exit code 4)
├── AuditFailed      a finished plan breaks a rule; it is not handed out (exit code 1)
└── OutputError      a result could not be written (exit code 5)
"""

from __future__ import annotations

import shlex
from collections.abc import Collection, Sequence
from dataclasses import dataclass


class FragSchedulerError(Exception):
    """Base of all errors a user can cause or meet."""

    exit_code = 1


@dataclass(frozen=True)
class Finding:
    """One fault or doubt about a farm book.

    ``where`` is file or sheet and cell (``colonies!E7``, ``colonies.csv line 7, count``); ``found`` and ``expected``
    are words for the grower; ``hint`` names the nearest good value where one is likely.
    """

    where: str
    found: str
    expected: str
    hint: str = ""

    def __str__(self) -> str:
        text = f"{self.where}: found {self.found}; expected {self.expected}"
        return f"{text} ({self.hint})" if self.hint else text


class BookError(FragSchedulerError):
    """The farm book cannot be planned from. ``faults`` holds every fault found."""

    exit_code = 2

    def __init__(self, faults: Sequence[Finding]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        head = f"{count} fault{'s' if count != 1 else ''} in the farm book; nothing was written"
        super().__init__("\n".join([head, *(f"  {fault}" for fault in self.faults)]))


class RecordError(FragSchedulerError):
    """A filled plan cannot be entered into a book. ``faults`` holds every fault found."""

    exit_code = 2

    def __init__(self, faults: Sequence[Finding]) -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        head = f"{count} point{'s' if count != 1 else ''} to settle in what was filled in; nothing was written"
        super().__init__("\n".join([head, *(f"  {fault}" for fault in self.faults)]))


class ChangeError(FragSchedulerError):
    """Words given with a command that say no change or pin of this farm."""

    exit_code = 2


class PinConflict(FragSchedulerError):
    """Pins that cannot all hold. ``pins`` is a minimal set: dropping any one of them lets the others hold.

    ``given``: those that came with the command, which are left out there and not dropped from the book.
    """

    exit_code = 3

    def __init__(self, pins: Sequence[str], sentences: Sequence[str], given: Collection[str] = ()) -> None:
        self.pins = tuple(pins)
        self.sentences = tuple(sentences)
        ways = [f"--drop-pin {shlex.quote(pin)}" for pin in self.pins if pin not in given][:1]
        ways += ["leave out a --pin"] if any(pin in given for pin in self.pins) else []
        super().__init__(
            "\n".join(
                [
                    "These pins cannot hold together:",
                    *(f"  {s}" for s in self.sentences),
                    f"Change the book, or plan without one of them: {', or '.join(ways)}",
                ]
            )
        )


class NoPlanFound(FragSchedulerError):
    """No plan was found; the text says why."""

    exit_code = 4


class AuditFailed(FragSchedulerError):
    """The audit found broken rules in a finished plan."""

    exit_code = 1


class OutputError(FragSchedulerError):
    """A file or folder could not be written; the text says which and why."""

    exit_code = 5
