"""A readable account of many verdicts."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

from .running import Row
from .verdicts import ORDER

SHOWN = 10
"""How many of the smallest failing netlists and of the slowest cases are shown."""


def summary(rows: Sequence[Row]) -> str:
    """Counts, reasons grouped, the slowest, and the smallest failing netlists in full."""
    return "\n".join([*_counts(rows), "", *_reasons(rows), "", *_slowest(rows), "", *_smallest(rows)])


def _counts(rows: Sequence[Row]) -> list[str]:
    families = sorted({row["family"] for row in rows})
    lines = [f"{len(rows)} cases", "", "outcome      all " + " ".join(f"{name:>9}" for name in families)]
    for outcome in reversed(ORDER):
        of = [row for row in rows if row["outcome"] == outcome]
        split = " ".join(f"{sum(row['family'] == name for row in of):9}" for name in families)
        lines.append(f"{outcome:10} {len(of):5} {split}")
    total = sum(row["solve_seconds"] for row in rows)
    lines.append("")
    lines.append(f"answers take {total / max(len(rows), 1):.2f} s on average, {total:.0f} s together")
    return lines


def _reasons(rows: Sequence[Row]) -> list[str]:
    lines = []
    for outcome in ORDER:
        groups: dict[str, list[Row]] = defaultdict(list)
        counted: Counter[str] = Counter()
        for row in rows:
            for reason in {r for word, r, _ in row["findings"] if word == outcome}:
                groups[reason].append(row)
                counted[reason] += 1
        if counted:
            lines.append(f"{outcome}:")
        for reason, count in counted.most_common():
            examples = sorted(groups[reason], key=lambda row: row["elements"])[:4]
            numbers = ", ".join(str(row["number"]) for row in examples)
            lines.append(f"  {count:4}  {reason}  (cases {numbers})")
    return lines


def _slowest(rows: Sequence[Row]) -> list[str]:
    slowest = sorted(rows, key=lambda row: -row["solve_seconds"])[:SHOWN]
    return [
        "slowest answers:",
        *(
            f"  {row['solve_seconds']:6.1f} s  case {row['number']}, {row['elements']} parts: "
            f"{', '.join(row['history'])}"
            for row in slowest
        ),
    ]


def _smallest(rows: Sequence[Row]) -> list[str]:
    failing = [row for row in rows if row["outcome"] not in ("right", "undecided")]
    lines = ["smallest failing netlists:"]
    for row in sorted(failing, key=lambda row: row["elements"])[:SHOWN]:
        lines += ["", account(row)]
    return lines


def account(row: Row) -> str:
    """One verdict in full: what is expected, what is told, what differs, the netlist."""
    lines = []
    if "number" in row:
        lines.append(f"# case {row['number']}, {row['family']}: {', '.join(row['history'])}")
    lines += [f"# {row['signature']}", f"# expected: {row['expected']}", f"# told: {row['told']}"]
    for outcome, reason, detail in row["findings"][:12]:
        lines.append(f"# {outcome}: {reason}" + (f": {' '.join(detail.split())[:300]}" if detail else ""))
    return "\n".join([*lines, row["netlist"].rstrip()])
