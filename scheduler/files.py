"""The one place that writes a file: whole and on disk, or not at all."""

from __future__ import annotations

import contextlib
import os
import stat
import tempfile
from pathlib import Path

from scheduler.errors import OutputError


def atomic_write(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path`` so that a reader sees the old file or the new one, never a part of it.

    A file that is replaced keeps its permissions; a new one gets the usual ones. The folder is made if it is missing.
    Raises ``OutputError``.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise OutputError(f"{path} is a folder; a file was to be written there")
        path.parent.mkdir(parents=True, exist_ok=True)
        mode = stat.S_IMODE(path.stat().st_mode) if path.exists() else _usual_mode()
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".tmp", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            Path(name).chmod(mode)
            Path(name).replace(path)
        except BaseException:
            Path(name).unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)
    except OSError as error:
        raise OutputError(f"{path} could not be written: {error.strerror or error}") from error


def atomic_write_text(path: Path, text: str) -> None:
    """``atomic_write`` for text: UTF-8, line ends as they are in ``text``."""
    atomic_write(path, text.encode("utf-8"))


def refuse_existing(path: Path) -> None:
    """Raise ``OutputError`` if there is something at ``path`` already."""
    if path.exists():
        raise OutputError(f"{path} exists already and was left as it is; give another name or move it away")


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
