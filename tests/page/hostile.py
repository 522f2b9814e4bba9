"""The reporting example with names no careful person would give: markup, scripts, quotes, line ends."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from typing import Any

from pydantic import BaseModel

from scheduler.farm.farm import Farm
from scheduler.plan.model import Notice, Plan
from tests.reporting.example import farm, plan

IMAGE = '<img src=x onerror="window.hit=1">'
END = "</script><script>window.hit=1</script>"
QUOTES = "\" ' ` onload=window.hit=1 \\u003cb>"
LINES = "a\u2028b\u2029&lt;i&gt;"
LONG = "W" * 300
NAMES = {
    "Lantern Branch": IMAGE, "Ember Tip": END, "Dusk Mat": QUOTES, "LN-2636a": "</style><b>LN-2636a</b>", "EM-2649a": "<svg onload=window.hit=1>",
    "LAN-01": "javascript:window.hit=1", "EMB-01": LINES, "DUS-01": "<!--", "Ada": "<b>Ada</b>", "Ben": "{{ 7 * 7 }}{% raw %}", "1001": "</td><td>1001",
    "Reef & Bench": f"Reef {END}", "left shelf": IMAGE, "collection": "<i>collection</i>", "N1-b": "<u>N1-b</u>", "basket 3": LONG,
}  # fmt: skip


def _swapped(value: Any) -> Any:
    if isinstance(value, str):
        return NAMES.get(value, value)
    if isinstance(value, tuple):
        return tuple(_swapped(x) for x in value)
    return value


def _row(row: BaseModel) -> BaseModel:
    return row.model_copy(update={name: _swapped(getattr(row, name)) for name in type(row).model_fields})


def hostile_farm() -> Farm:
    """The farm with its names swapped."""
    found: dict[str, Any] = {}
    for field in fields(Farm):
        value = getattr(farm(), field.name)
        found[field.name] = (
            _row(value) if isinstance(value, BaseModel) else tuple(_row(r) for r in value) if isinstance(value, tuple) else value
        )
    return replace(farm(), **found)


def hostile_plan() -> Plan:
    """Its plan, with the same names and a notice that is markup."""

    def swapped(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: swapped(x) for key, x in value.items()}
        return [swapped(x) for x in value] if isinstance(value, list) else _swapped(value)

    document = Plan.model_validate(swapped(json.loads(plan().model_dump_json())))
    return document.model_copy(update={"notices": (Notice(kind="doubt", text=f"{IMAGE}{END}"),)})
