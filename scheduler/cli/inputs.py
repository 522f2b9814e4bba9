"""Files given to a command beside the farm book: plans, and tables of changes to try."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from pydantic import ValidationError

from scheduler.errors import ChangeError
from scheduler.file_sets import unfinished
from scheduler.plan.model import Plan


def read_plan(path: Path) -> Plan:
    """A plan written by this program. Raises ``ChangeError``."""
    if unfinished(path):
        raise ChangeError(
            f"{path} is part of a plan whose writing was cut short, so its files may be of two plans; "
            "run frag-scheduler plan into that folder again"
        )
    try:
        return Plan.model_validate_json(path.read_bytes())
    except OSError as error:
        raise ChangeError(f"{path} cannot be read: {error.strerror}") from error
    except ValidationError as error:
        raise ChangeError(f"{path} is not a plan of this program: {error.error_count()} faults\n{error}") from error


def read_changes(path: Path) -> tuple[str, ...]:
    """Changes from a CSV file with a column ``change``, one a line. Raises ``ChangeError``."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise ChangeError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise ChangeError(f"{path} is not UTF-8; save it as CSV UTF-8") from error
    rows = csv.DictReader(io.StringIO(text, newline=""))
    if "change" not in (rows.fieldnames or ()):
        raise ChangeError(f"{path} has no column 'change'; it has {', '.join(rows.fieldnames or ()) or 'nothing'}")
    return tuple(row["change"].strip() for row in rows if (row["change"] or "").strip())
