"""Ctrl-C while a plan is made: what has been found so far is kept."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

STOPPING = "Stopping: the plan is made of what has been found so far. Ctrl-C once more ends without a plan."


@contextmanager
def stopped_by_hand(tell: Callable[[str], None]) -> Iterator[threading.Event]:
    """An event that the first Ctrl-C sets, with a word about it; the second is a ``KeyboardInterrupt``. For the main thread."""
    stop = threading.Event()

    def heard(_signal: int, _frame: FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()
        tell(STOPPING)

    before = signal.signal(signal.SIGINT, heard)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
