"""Files that belong together, such as those of a plan: they appear all at once, or can be told to be half of each."""

from __future__ import annotations

import contextlib
import json
import shutil
import stat
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from scheduler.errors import OutputError
from scheduler.files import atomic_write, atomic_write_text, folder_lock

UNFINISHED = ".frag-scheduler.unfinished"
"""Names the drafts of a set while its files take their names; it is gone once all of them have."""

_DRAFTS = ".frag-scheduler.set."
_NEW, _OLD = "new", "old"


def write_together(folder: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files into ``folder``, by their names below it, and return where they are. Holds the folder meanwhile.

    All of them are on disk as drafts before the first takes its name; what then keeps one from its name (an open file) puts
    back the old ones. A run killed in between leaves a mark: ``unfinished`` tells, and the next set written there finishes
    that one first. Files of other names stay. Raises ``OutputError``.
    """
    with folder_lock(folder):
        try:
            _finish(folder)
            drafts = Path(tempfile.mkdtemp(prefix=_DRAFTS, suffix=".tmp", dir=folder))
        except OSError as error:
            raise _trouble(folder, error) from error
        try:
            for name, data in files.items():
                atomic_write(drafts / _NEW / name, data)
                _keep_old(folder, drafts, name)
            atomic_write_text(folder / UNFINISHED, json.dumps({"drafts": drafts.name, "files": list(files)}) + "\n")
            _name_all(folder, drafts, list(files))
            (folder / UNFINISHED).unlink()
        except OSError as error:
            raise _trouble(folder, error) from error
        finally:
            if not (folder / UNFINISHED).exists():
                shutil.rmtree(drafts, ignore_errors=True)
    return tuple(folder / name for name in files)


def unfinished(path: Path) -> bool:
    """Whether a file is one of a set that a killed run left half written."""
    with contextlib.suppress(OSError):
        return (path.parent / UNFINISHED).exists()
    return False


def _finish(folder: Path) -> None:
    """Give the drafts of a killed run their names, and clear away what else such runs left. The folder is held."""
    mark = folder / UNFINISHED
    if mark.exists():
        for drafts, name in _named(mark):
            if (drafts / _NEW / name).exists():  # somebody may have cleared them away by hand
                _take_name(drafts / _NEW / name, folder / name)
        mark.unlink()
    for drafts in folder.glob(f"{_DRAFTS}*.tmp"):
        shutil.rmtree(drafts, ignore_errors=True)


def _named(mark: Path) -> list[tuple[Path, str]]:
    """Folder of drafts and name of every file of an unfinished set; nothing where the mark itself is spoiled."""
    try:
        left = json.loads(mark.read_text(encoding="utf-8"))
        return [(mark.parent / Path(str(left["drafts"])).name, str(name)) for name in left["files"]]
    except (ValueError, KeyError, TypeError):
        return []


def _keep_old(folder: Path, drafts: Path, name: str) -> None:
    """Hold on to the file that has the name now; its draft gets its permissions."""
    path, kept = folder / name, drafts / _OLD / name
    if path.is_dir():
        raise OutputError(f"{path} is a folder; a file was to be written there")
    if path.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        _second_name(path, kept)
        (drafts / _NEW / name).chmod(stat.S_IMODE(path.stat().st_mode))


def _name_all(folder: Path, drafts: Path, names: Sequence[str]) -> None:
    """Every draft takes its name, or none does."""
    taken: list[str] = []
    try:
        for name in names:
            _take_name(drafts / _NEW / name, folder / name)
            taken.append(name)
    except OSError:
        for name in reversed(taken):
            if (drafts / _OLD / name).exists():
                _take_name(drafts / _OLD / name, folder / name)
            else:
                (folder / name).unlink()
        (folder / UNFINISHED).unlink()
        raise


def _take_name(draft: Path, path: Path) -> None:
    """A draft takes a name; it stays where it is as well, so that this can be done again."""
    path.parent.mkdir(parents=True, exist_ok=True)
    other = draft.with_name(f"{draft.name}.tmp")
    other.unlink(missing_ok=True)
    _second_name(draft, other)
    other.replace(path)


def _second_name(path: Path, other: Path) -> None:
    """A second name for a file: a link, or a copy where a file system has no links."""
    try:
        other.hardlink_to(path)
    except OSError:
        shutil.copy2(path, other)


def _trouble(folder: Path, error: OSError) -> OutputError:
    hint = "; is a file of it open in another program?" if isinstance(error, PermissionError) else ""
    what = error.filename2 or error.filename or folder
    return OutputError(f"{what} could not be written, and {folder} was left as it was: {error.strerror or error}{hint}")
