"""What a check of a circuit file found, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.tables import WARNING, count, stack


def check_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return the warnings and what was counted; errors go to standard error and are not part of this."""
    warnings = [
        Text.assemble(f"{_where(item)}: ", ("warning: ", WARNING), item["message"]) for item in fields["warnings"]
    ]
    if fields["errors"]:
        return stack(*warnings, f"{fields['circuit']}: {count(len(fields['errors']), 'error')}")
    counted = ", ".join(count(number, *names) for number, names in _counts(fields))
    found = "nothing suspicious" if not warnings else count(len(warnings), "warning")
    return stack(*warnings, Text(f"{fields['circuit']}: {counted}; {found}"))


def _where(item: Mapping[str, Any]) -> str:
    return ":".join(str(part) for part in (item["file"], item["line"]) if part is not None)


def _counts(fields: Mapping[str, Any]) -> list[tuple[int, tuple[str, str]]]:
    return [
        (fields["parts"], ("part", "parts")),
        (fields["nets"], ("net", "nets")),
        (fields["power_states"], ("power state", "power states")),
    ]
