"""Sequencing rules of a circuit file."""

from __future__ import annotations

from collections.abc import Mapping

from seqsim.circuit.draft import Draft, Entry
from seqsim.circuit.known import Known, read_net
from seqsim.circuit.model import Before, Monotonic, NeverAbove, Off, Rises, Rule
from seqsim.circuit.names import suggest
from seqsim.circuit.source import Items, Node, Text
from seqsim.quantity import Unit

MOST_SECONDS = 1e6
MOST_VOLTS = 1e4

_RULE_KEYS = {
    "before": ("before", "by"),
    "never_above": ("never_above", "by"),
    "rises": ("rises", "in"),
    "monotonic": ("monotonic",),
    "off": ("off", "within"),
}


def read_rules(draft: Draft, node: Node, known: Known) -> tuple[Rule, ...]:
    """Return the sequencing rules."""
    if isinstance(node, Text) and not node.text:
        return ()
    if not isinstance(node, Items):
        draft.error("rules must be a list, one rule a line beginning with `- `", node.line, expected="a list")
        return ()
    found = []
    for number, item in enumerate(node.items):
        draft.lines[f"rules/{number}"] = item.line
        rule = _read_rule(draft, item, f"rule {number + 1}", known)
        if rule is not None:
            found.append(rule)
    return tuple(found)


def _read_rule(draft: Draft, node: Node, what: str, known: Known) -> Rule | None:
    keys = draft.entries(node, what)
    heads = [key for key in keys if key in _RULE_KEYS]
    if len(heads) != 1:
        hint = suggest(next(iter(keys), ""), _RULE_KEYS) if not heads else "; write one rule for each"
        message = f"{what} must have one of the keys {', '.join(_RULE_KEYS)}{hint}"
        draft.error(message, node.line, expected=" or ".join(_RULE_KEYS))
        return None
    head = heads[0]
    wanted = _RULE_KEYS[head]
    what = f"{what} ({head})"
    good = True
    for key, entry in keys.items():
        if key not in wanted:
            draft.error(f"{what} has no key '{key}'{suggest(key, wanted)}", entry.line, got=key)
            good = False
    for key in wanted:
        if key not in keys:
            draft.error(f"{what} has no {key}; write `{key}:` with its limits", node.line, expected=key)
            good = False
    return _typed_rule(draft, head, keys, what, known) if good else None


def _typed_rule(draft: Draft, head: str, keys: Mapping[str, Entry], what: str, known: Known) -> Rule | None:
    subject = keys[head]
    if head in ("before", "never_above"):
        items = draft.texts(subject.node, what)
        nets = [read_net(draft, item, f"a net of {what}", known) for item in items]
        if len(nets) != 2 or nets[0] == nets[1]:
            draft.error(f"{what} must name two nets, like `[A, B]`", subject.line)
            return None
        if head == "before":
            span = draft.span(keys["by"].node, f"by of {what}", Unit.SECOND)
            if nets[0] is None or nets[1] is None or span is None:
                return None
            return Before(first=nets[0], second=nets[1], least=span[0], most=span[1])
        by = draft.quantity(keys["by"].node, f"by of {what}", Unit.VOLT, most=MOST_VOLTS)
        return None if None in (*nets, by) else NeverAbove(net=str(nets[0]), other=str(nets[1]), by=by or 0.0)
    net = read_net(draft, subject.node, f"the net of {what}", known, ground=False)
    if head == "monotonic":
        return None if net is None else Monotonic(net=net)
    if head == "rises":
        span = draft.span(keys["in"].node, f"in of {what}", Unit.SECOND)
        return None if net is None or span is None else Rises(net=net, least=span[0], most=span[1])
    within = draft.quantity(keys["within"].node, f"within of {what}", Unit.SECOND, most=MOST_SECONDS)
    return None if net is None or within is None else Off(net=net, within=within)
