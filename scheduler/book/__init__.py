"""The farm book: one workbook or a folder of CSV files, read to a farm, and written. Its columns: ``guide``."""

from scheduler.book.checks.sources import unsourced
from scheduler.book.diff import Change, diff
from scheduler.book.read import Book, canonical, check_farm, read_book
from scheduler.book.template import write_template
from scheduler.book.write import convert, write_book, write_csv, write_xlsx

__all__ = [
    "Book", "Change", "canonical", "check_farm", "convert", "diff", "read_book", "unsourced", "write_book", "write_csv",
    "write_template", "write_xlsx",
]  # fmt: skip
