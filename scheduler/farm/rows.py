"""What a row of the farm book is.

Each table of the book is one class derived from ``Row``; each column is one of its fields, described once, there. The
template, the column guide and the reader are made from these classes.
"""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field


def column(description: str, example: str, **kwargs: Any) -> Any:
    """A column: what it says (with its unit) and one example as it would be typed. Required unless it has a default."""
    return Field(description=description, examples=[example], **kwargs)


class Row(BaseModel):
    """One row of a table. ``SHEET`` names the table, ``KEY`` its identifying columns, ``LINKS`` columns naming other rows."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    SHEET: ClassVar[str]
    ABOUT: ClassVar[str]
    KEY: ClassVar[tuple[str, ...]]
    LINKS: ClassVar[dict[str, str]] = {}
    """column -> the table whose key it names; list columns name several."""

    @property
    def key(self) -> tuple[Any, ...]:
        """The values of the key columns."""
        return tuple(getattr(self, name) for name in self.KEY)
