"""The column guide: every sheet and column of the farm book, made from the classes that read it."""

from __future__ import annotations

import sys
from pathlib import Path

from scheduler.book.cellvalues import csv_text
from scheduler.book.fields import (
    REQUIRED_TABLES,
    columns,
    default_of,
    expected_words,
    has_blank_default,
    is_required,
    linked_table,
)
from scheduler.book.template import ABOUT, example_of
from scheduler.book.write import setting_source
from scheduler.farm.farm import TABLES
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings
from scheduler.files import atomic_write_text


def column_guide() -> str:
    """The guide as Markdown."""
    lines = [
        "# The farm book, sheet by sheet", "",
        "A farm book is one workbook with these sheets, or a folder with one CSV file for each (`colonies.csv`; UTF-8, "
        "commas). Made from the program's own definitions: do not edit by hand.", "",
        *(f"- {text}" for text, title in ABOUT if not title), "",
    ]  # fmt: skip
    for sheet, cls in TABLES.items():
        lines += [f"## {sheet}", "", cls.ABOUT + (" Must be filled." if sheet in REQUIRED_TABLES else ""), ""]
        lines += _settings() if cls is Settings else _columns(cls)
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


def _settings() -> list[str]:
    lines = ["| setting | meaning | wants | default | source of the default |", "|---|---|---|---|---|"]
    for name, info in Settings.model_fields.items():
        default = csv_text(info.default, info)
        lines.append(_line(f"`{name}`", info.description or "", expected_words(info), default, setting_source(name)))
    return lines


def _columns(cls: type[Row]) -> list[str]:
    lines = ["| column | meaning | wants | example | if empty |", "|---|---|---|---|---|"]
    for name in columns(cls):
        info, target = cls.model_fields[name], linked_table(cls, name)
        wants = expected_words(info) + (f" (from `{target.SHEET}`)" if target is not None else "")
        empty = "must be filled"
        if not is_required(info):
            empty = "nothing" if has_blank_default(info) else csv_text(default_of(info), info)
            empty = "the group's" if (info.description or "").startswith("overrides the group") else empty
        lines.append(_line(f"`{name}`", info.description or "", wants, f"`{example_of(cls, name)}`", empty))
    return lines


def _line(*cells: str) -> str:
    return "| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"


def main(arguments: list[str]) -> int:
    """Write the guide to the file named, or print it."""
    if arguments:
        atomic_write_text(Path(arguments[0]), column_guide())
    else:
        sys.stdout.write(column_guide())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
