"""What a circuit file says of a healthy board: the volts of nets in each power state, and why."""

from __future__ import annotations

import re
from collections.abc import Mapping

from seqsim.circuit.draft import Draft, Entry
from seqsim.circuit.known import Known, read_net
from seqsim.circuit.model import Expected, PowerState
from seqsim.circuit.names import suggest
from seqsim.circuit.source import Node, Text
from seqsim.errors import QuantityError
from seqsim.quantity import Unit, parse_quantity

EXAMPLE = "like `V5: 5 V`, `BASE: 0.6..0.75 V` or `MID: 2.5 V = 5 V * 10k / 20k`"
SHARE, LEAST = 0.02, 0.005
"""A level counts as the one that is stated within this share of it, or within so many volts: our judgement."""


def read_healthy(
    draft: Draft, node: Node, states: Mapping[str, PowerState], known: Known
) -> dict[str, dict[str, Expected]]:
    """Return what is expected of nets in each power state."""
    found: dict[str, dict[str, Expected]] = {}
    for state, entry in draft.entries(node, "healthy").items():
        draft.lines[f"healthy/{state}"] = entry.line
        if state not in states:
            message = f"healthy tells of '{state}', which is no power state{suggest(state, states)}"
            draft.error(message, entry.line, place=state, got=state)
            continue
        found[state] = {}
        for name, told in draft.entries(entry.node, f"healthy {state}").items():
            net = read_net(draft, Text(name, told.line), f"a net of healthy {state}", known)
            expected = _expected(draft, told, f"{name} of healthy {state}")
            draft.lines[f"healthy/{state}/{name}"] = told.line
            if net is not None and expected is not None:
                found[state][net] = expected
    return found


def _expected(draft: Draft, entry: Entry, what: str) -> Expected | None:
    text = draft.text(entry.node, what)
    if text is None:
        return None
    volts, reason = re.fullmatch(r"(.*?)\s*([=,;(].*)?", text, re.DOTALL).groups()  # type: ignore[union-attr]
    low, dots, high = volts.partition("..")
    try:
        if dots:
            unit = re.search(r"[^\d.]*$", high)
            bounds = _bound(low if re.search(r"[a-zA-Z]\s*$", low) else low + (unit[0] if unit else "")), _bound(high)
        else:
            single = _bound(volts)
            margin = max(abs(single) * SHARE, LEAST)
            bounds = single - margin, single + margin
    except QuantityError:
        draft.error(f"{what} is '{text}', but it must begin with volts, {EXAMPLE}", entry.line, got=text)
        return None
    if bounds[0] > bounds[1]:
        draft.error(f"{what} runs from the larger to the smaller value; exchange them", entry.line, got=text)
        return None
    return Expected(low=bounds[0], high=bounds[1], text=volts, reason=(reason or "").strip())


def _bound(text: str) -> float:
    return parse_quantity(text, Unit.VOLT)
