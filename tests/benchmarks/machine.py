"""The machine a result was measured on, in a few words."""

from __future__ import annotations

import os
import platform


def machine() -> str:
    """Cores, memory and Python."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return f"{os.cpu_count()} cores, {memory:.0f} GiB, Python {platform.python_version()}"
