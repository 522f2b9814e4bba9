"""The one place that writes a file: whole and on disk, or not at all."""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
import stat
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from scheduler.errors import OutputError

LEFT_BEHIND_SECONDS = 3600
"""Drafts of a file older than this were left by a run that was killed."""

LOCK_NAME = ".frag-scheduler.lock"
LOCK_SECONDS = 30.0
"""How long a run waits for another one that writes to the same folder: farm choice, no published source."""


def atomic_write(path: Path, data: bytes, *, new: bool = False) -> None:
    """Write ``data`` to ``path`` so that a reader sees the old file or the new one, never a part of it.

    A file that is replaced keeps its permissions; a new one gets the usual ones. With ``new`` a file that is there by then
    stays as it is. The folder is made if it is missing. Raises ``OutputError``.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise OutputError(f"{path} is a folder; a file was to be written there")
        path.parent.mkdir(parents=True, exist_ok=True)
        clear_drafts(path)
        mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else _usual_mode()
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".tmp", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(mode)
            _put(Path(name), path, new=new)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except OSError as error:
        hint = "; is it open in another program?" if isinstance(error, PermissionError) and _is_there(path) else ""
        raise OutputError(f"{path} could not be written: {error.strerror or error}{hint}") from error


def _put(draft: Path, path: Path, *, new: bool) -> None:
    """Give a finished draft its name; with ``new`` only if nothing has it, which a link tells without a gap in time."""
    if not new:
        draft.replace(path)
        return
    try:
        path.hardlink_to(draft)
    except FileExistsError:
        raise OutputError(f"{path} exists already and was left as it is; give another name or move it away") from None
    except OSError:  # a file system without links
        refuse_existing(path)
        draft.replace(path)
    else:
        draft.unlink()


def clear_drafts(path: Path) -> None:
    """Remove drafts of a file or folder that killed runs left behind an hour ago or more."""
    for draft in path.parent.glob(f".{glob.escape(path.name)}.*.tmp"):
        with contextlib.suppress(OSError):
            if time.time() - draft.stat().st_mtime > LEFT_BEHIND_SECONDS:
                draft.unlink() if draft.is_file() else shutil.rmtree(draft)


@contextlib.contextmanager
def folder_lock(folder: Path) -> Iterator[None]:
    """Hold a folder for one run, waiting at most ``LOCK_SECONDS`` for another. The folder is made if it is missing.

    The system lets go of it when a run ends, however it ends. Raises ``OutputError``.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = FileLock(folder / LOCK_NAME)
        lock.acquire(timeout=LOCK_SECONDS)
    except Timeout as error:
        raise OutputError(f"another run is writing to {folder}; wait until it is done, or give another folder") from error
    except OSError as error:
        raise OutputError(f"{folder} could not be written to: {error.strerror or error}") from error
    try:
        yield
    finally:
        lock.release()


def atomic_write_text(path: Path, text: str) -> None:
    """``atomic_write`` for text: UTF-8, line ends as they are in ``text``."""
    atomic_write(path, text.encode("utf-8"))


def refuse_existing(path: Path) -> None:
    """Raise ``OutputError`` if there is something at ``path`` already, or nobody may look."""
    try:
        there = path.exists()
    except OSError as error:
        raise OutputError(f"{path} could not be written: {error.strerror or error}") from error
    if there:
        raise OutputError(f"{path} exists already and was left as it is; give another name or move it away")


def _is_there(path: Path) -> bool:
    """Whether there is something at a path; no where nobody may look."""
    try:
        return path.exists()
    except OSError:
        return False


def _usual_mode() -> int:
    """Permissions an ordinary new file would get (a temporary file is private to its owner)."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    """Put the new name itself on disk, where the system can (not every file system syncs a folder)."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
