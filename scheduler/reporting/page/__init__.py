"""The week to look at: one self-contained HTML page."""

from __future__ import annotations

from scheduler.reporting.page.write import PAGE, page_bytes

__all__ = ["PAGE", "page_bytes"]
