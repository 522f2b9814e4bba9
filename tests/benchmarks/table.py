"""Results of benchmarks as a markdown table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


def markdown(rows: Sequence[dict[str, Any]]) -> str:
    """One line a run; values above doing nothing (V0) as a share of ours on the same farm."""
    lines = [
        "| colonies | way | time to plan, s | gap, % | peak memory, MB | value above V0, % of ours | remark |",
        "|---|---|---|---|---|---|---|",
    ]
    ours = {(r["colonies"], r.get("seed")): r for r in rows if r["way"] == "ours" and "value" in r}
    for row in rows:
        best = ours.get((row["colonies"], row.get("seed")))
        if "value" not in row:
            lines.append(f"| {row['colonies']} | {row['way']} | - | - | - | - | {row['failed']} |")
            continue
        share, gap = "-", row.get("gap_percent")
        if best is not None and best["value"] > best["v0"]:
            share = f"{100 * (row['value'] - best['v0']) / (best['value'] - best['v0']):.1f}"
            if gap is None:
                gap = 100 * max(0.0, best["bound"] - row["value"]) / (best["bound"] - best["v0"])
        remark = f"{row['columns']:,} columns, {row['rows']:,} rows" if "columns" in row else ""
        if row.get("found") is False:
            remark += "; no plan found: no cuts in later weeks"
        shown = "-" if gap is None else f"{gap:.1f}"
        lines.append(
            f"| {row['colonies']} | {row['way']} | {row['seconds']} | {shown} | {row['peak_mb']:,} | {share} | {remark} |"
        )
    return "\n".join(lines)
