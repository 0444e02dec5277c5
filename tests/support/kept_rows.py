"""Rows of a long benchmark, kept in a folder as they come, so that it can be run in parts and reported as a whole.

The environment variable ``KEEP`` names the folder; without it a run keeps nothing and reports what it did itself.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

Row = dict[str, Any]


def rows(name: str, count: int, make: Callable[[int], Iterable[Row]], spare: Path) -> Iterator[Row]:
    """Yield the rows of ``count`` boards: those that are kept, then those that are made and kept now.

    ``make`` gets the number of a board and returns its rows; the number alone seeds it, so that parts fit together.
    """
    path = Path(os.environ.get("KEEP", spare)) / f"{name}.jsonl"
    path.parent.mkdir(parents=True, exist_ok=True)
    done: set[int] = set()
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            found = json.loads(line)
            done.add(found["number"])
            yield from found["rows"]
    with path.open("a", encoding="utf-8") as file:
        for number in range(count):
            if number not in done:
                made = list(make(number))
                file.write(json.dumps({"number": number, "rows": made}) + "\n")
                file.flush()
                yield from made


def report(name: str, text: str, spare: Path) -> None:
    """Write a report beside the rows, and print it."""
    path = Path(os.environ.get("KEEP", spare)) / f"{name}.md"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text + "\n", encoding="utf-8")
    print(f"\n{text}\nwritten to {path}")
