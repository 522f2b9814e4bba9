from __future__ import annotations

import csv
import random
import shutil
from pathlib import Path

from small_book import faults_of

from scheduler.book import read_book

NOISE = (
    "", "-", "0", "-1", "1e10", "0,5", "abc", "LAN", "N1-a", "A1:B2", "ZZ99", "A1:ZZ999=9999", "2026-11-30", "0001-01-01",
    "9999-12-31", "08:30", ";", "yes", "NA", "=1", "1;2", "Mon", "cut", "session", "inf", "1e-320", "\x0b",
)  # fmt: skip


def test_whatever_stands_in_a_cell_the_book_is_read_or_its_faults_are_told(csv_book: Path, tmp_path: Path) -> None:
    chance = random.Random(7)
    tables = {}
    for path in csv_book.iterdir():
        with path.open(encoding="utf-8", newline="") as file:
            tables[path.name] = list(csv.reader(file))
    target = tmp_path / "noisy"
    read = refused = 0
    for _ in range(60):
        name = chance.choice(sorted(n for n, rows in tables.items() if len(rows) > 1))
        rows = [list(row) for row in tables[name]]
        row = chance.choice(rows[1:])
        row[1 if name == "settings.csv" else chance.randrange(len(row))] = chance.choice(NOISE)
        shutil.copytree(csv_book, target)
        with (target / name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
        faults = faults_of(lambda: read_book(target))
        assert all(f.where and f.found and f.expected for f in faults)
        read, refused = read + (not faults), refused + bool(faults)
        shutil.rmtree(target)
    assert read
    assert refused
