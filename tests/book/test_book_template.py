from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import load_workbook
from small_book import faults_of, has

from scheduler.book import read_book, write_template
from scheduler.book.fields import REQUIRED_TABLES, columns, is_required
from scheduler.book.guide import column_guide, main
from scheduler.errors import OutputError
from scheduler.farm.farm import TABLES
from scheduler.farm.settings import Settings

GUIDE = Path(__file__).parents[2] / "data" / "COLUMNS.md"


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "farm.xlsx"
    write_template(path)
    return path


def test_a_template_lacks_nothing_but_its_rows(template: Path) -> None:
    faults = faults_of(lambda: read_book(template))
    assert [f.where for f in faults] == list(REQUIRED_TABLES)
    assert {f.found for f in faults} == {"no rows"}


def test_a_template_explains_itself(template: Path) -> None:
    book = load_workbook(template)
    assert book.sheetnames == ["about", *TABLES]
    for sheet, cls in TABLES.items():
        page = book[sheet]
        assert page.freeze_panes == "B2"
        if cls is Settings:
            continue
        heads = [c.value for c in page[1]]
        assert heads == [*columns(cls), "example"]
        assert all(c.comment is not None for c in page[1][:-1])
        assert page.cell(2, len(heads)).value == "example"
        needed = [page.cell(2, i).value for i, name in enumerate(columns(cls), 1) if is_required(cls.model_fields[name])]
        assert None not in needed


def test_the_example_rows_are_themselves_a_readable_row(template: Path, tmp_path: Path) -> None:
    book = load_workbook(template)
    for sheet, cls in TABLES.items():
        if cls is not Settings:
            page = book[sheet]
            page.cell(2, len(columns(cls)) + 1).value = None
    book.save(tmp_path / "filled.xlsx")
    faults = faults_of(lambda: read_book(tmp_path / "filled.xlsx"))
    assert not has(faults, "no rows")
    assert not any(word in f.expected for f in faults for word in ("a number", "a whole number", "a date such", "yes or no"))


def test_choices_and_links_are_offered(template: Path) -> None:
    book = load_workbook(template)
    rules = [(rule.formula1, str(rule.sqref)) for rule in book["colonies"].data_validations.dataValidation]
    assert ('"fit,watch,no cut"', "I2:I2000") in rules
    assert ("strains!$A$2:$A$2000", "B2:B2000") in rules
    assert any(formula == '"yes,no"' for formula, _ in rules)


def test_a_template_is_never_written_over_a_book(template: Path) -> None:
    before = template.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        write_template(template)
    assert template.read_bytes() == before


def test_the_guide_names_every_sheet_column_and_setting(tmp_path: Path) -> None:
    text = column_guide()
    for sheet, cls in TABLES.items():
        assert f"## {sheet}\n" in text
        assert all(f"| `{name}` |" in text for name in cls.model_fields)
    assert all(
        len({line.count(" | ") for line in part.splitlines() if line.startswith("| `")}) <= 1 for part in text.split("## ")
    )
    main([str(tmp_path / "COLUMNS.md")])
    assert (tmp_path / "COLUMNS.md").read_text(encoding="utf-8") == text


@pytest.mark.skipif(not GUIDE.exists(), reason="the guide has not been written yet")
def test_the_stored_guide_is_up_to_date() -> None:
    assert GUIDE.read_text(encoding="utf-8") == column_guide(), "run python -m scheduler.book.guide data/COLUMNS.md"
