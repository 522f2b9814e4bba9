from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import load_workbook
from small_book import small_farm

from scheduler.book import write_csv, write_xlsx


@pytest.fixture(scope="session")
def workbook(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small farm's workbook without the notes on its headings, which take most of the time to load."""
    folder = tmp_path_factory.mktemp("books")
    write_xlsx(small_farm(), folder / "noted.xlsx")
    book = load_workbook(folder / "noted.xlsx")
    for sheet in book.worksheets:
        sheet.legacy_drawing = None
        for cell in sheet[1]:
            cell.comment = None
    book.save(folder / "farm.xlsx")
    return folder / "farm.xlsx"


@pytest.fixture
def csv_book(tmp_path: Path) -> Path:
    path = tmp_path / "farm"
    write_csv(small_farm(), path)
    return path
