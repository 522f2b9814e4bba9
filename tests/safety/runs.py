"""Work in a process of its own that can be killed, starved of disk or robbed of its rights without harm to the test."""

from __future__ import annotations

import json
import os
import signal
import sys
import time
import traceback
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

from scheduler.book import read_book
from scheduler.errors import FragSchedulerError


def start(work: Callable[[], object]) -> int:
    """Begin work in a child process; it ends with 0, or with the exit code of this package's error."""
    child = os.fork()
    if child:
        return child
    code = 99
    try:
        work()
        code = 0
    except FragSchedulerError as error:
        code = error.exit_code
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def ended(child: int) -> int:
    """Exit code of a child; negative for the signal that ended it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def killed(work: Callable[[], object], after: float) -> bool:
    """Kill work so many seconds after its start; whether it was still at it."""
    child = start(work)
    time.sleep(after)
    os.kill(child, signal.SIGKILL)
    return ended(child) == -signal.SIGKILL


def contents(*paths: Path) -> dict[Path, bytes]:
    """Every file at or below some paths, hidden ones left out."""
    files = [f for p in paths for f in ([p] if p.is_file() else sorted(p.rglob("*"))) if f.is_file()]
    return {f: f.read_bytes() for f in files if not f.name.startswith(".") and not any(x.startswith(".") for x in f.parts)}


def whole(path: Path, data: bytes) -> bool:
    """Whether a file of ours is whole."""
    if path.suffix == ".xlsx":
        with zipfile.ZipFile(BytesIO(data)) as archive:
            return archive.testzip() is None and "[Content_Types].xml" in archive.namelist()
    if path.suffix == ".json":
        return bool(json.loads(data))
    return data.endswith(b"\n")


def book_fingerprint(path: Path) -> str:
    """Fingerprint of the farm of a book."""
    return read_book(path).farm.fingerprint
