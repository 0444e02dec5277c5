"""The next reading in words: where to put the probe, what it may show, and what that would mean."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.notes import taken_text
from seqsim.wording.tables import WARNING, count, heading, indented, listing, percent, quantity, quiet, stack, table

Fields = Mapping[str, Any]

SURE = 0.8
"""Above this a mechanism is stated only after a check with power off has spoken for it."""
NAMED = 5
"""Look-alikes that are named."""
KINDS = {
    "volts": "volts", "ohms": "ohms", "diode": "diode test", "continuity": "continuity", "current": "current",
}  # fmt: skip

AGAIN = {
    "bears_alone": "The answer rests on this reading alone: take it once more before anything is replaced.",
    "doubtful": "Nothing else fits this reading, a slip is likely: take it once more.",
    "contradicted": "This was read twice and differed: take it a third time.",
}


def advice_text(fields: Fields) -> RenderableType:
    """Return what `next` shows, from its documented fields."""
    items: list[RenderableType] = [
        heading(f"{fields['circuit']}: {count(fields['readings'], 'reading')} so far"),
        indented(listing(_standing(fields))),
        *stop_text(fields),
        *_power(fields),
    ]
    for number, step in enumerate(fields["next"], start=1):
        items += ["", *step_text(number, step, fields["state"])]
    items += _cautions(fields)
    return stack(*items)


def _standing(fields: Fields) -> list[tuple[str, str | Text]]:
    told = taken_text(fields["taken"])
    return [*([("taken", told)] if told else []), *_suspects(fields)]


def _suspects(fields: Fields) -> list[tuple[str, str | Text]]:
    if not fields["readings"]:
        return [("suspects", "nothing was read yet: every fault of the list")]
    shown = ", ".join(_group(each) for each in fields["leading"])
    rows: list[tuple[str, str | Text]] = [("suspects", shown)]
    if fields["none_of_these"] > 0.2:
        rows.append(("beware", Text(
            f"{percent(fields['none_of_these'])} that none of the known faults explains what was read: "
            f"check the drawing at those places too", style=WARNING,
        )))  # fmt: skip
    return rows


def _group(each: Fields) -> str:
    """Return a group with its probability; above 80 % that of its place, for no check has spoken for a mechanism."""
    name, chance = each["group"], percent(each["probability"])
    others = len(each["members"]) - 1
    alike = f", or {count(others, 'look-alike')}" if others else ""
    if each["probability"] > SURE and place_of(name) != name:
        return f"{place_of(name)} holds {chance} ({name} fits best{alike})"
    return f"{name} (or {count(others, 'look-alike')}) {chance}" if others else f"{name} {chance}"


def place_of(fault: str) -> str:
    """Return the place that the name of a fault begins with."""
    return fault.partition(":")[0]


def stop_text(fields: Fields) -> list[RenderableType]:
    """Return why no reading is advised; nothing where one is."""
    if not fields["stop"]:
        return []
    lead = fields["leading"][0]
    others = [name for name in lead["members"] if name != lead["group"]][:NAMED]
    more = " and others" if len(lead["members"]) - 1 > len(others) else ""
    match fields["stop"]:
        case "found" if lead["group"] == "healthy":
            text = "Stop here: all that was read is as on a healthy board."
        case "found":
            text = f"Stop here: {_group(lead)}."
        case "look_alikes":
            text = (
                f"Stop here: {place_of(lead['group'])} holds {percent(lead['probability'])}; {lead['group']} and what "
                f"reads the same at every place on offer are left: {', '.join(others)}{more}. With power off, check or "
                f"lift them one after the other, in this order."
            )
        case _:
            text = f"Nothing on offer tells more: {_group(lead)} leads."
    rows: list[tuple[str, str | Text]] = [("", Text(text, style="bold"))]
    if fields["confirm"]:
        rows.append(("confirm", fields["confirm"]))
    return ["", indented(listing(rows))]


def _power(fields: Fields) -> list[RenderableType]:
    found: list[RenderableType] = []
    if fields["first"]:
        nets = ", ".join(fields["first"])
        found += ["", indented(Text(f"Before power goes on: is {nets} shorted? Every supply off, charge drained."))]
    if fields["supplies"]:
        nets = ", ".join(fields["supplies"])
        found += ["", indented(Text(f"With power on, supplies come first: is {nets} up?"))]
    if fields["limit"]:
        text = f"Before power goes on: a short is among the suspects. Set {' and '.join(fields['limit'])} first."
        found += ["", indented(Text(text, style=WARNING))]
    return found


def step_text(number: int, step: Fields, now: str) -> list[RenderableType]:
    """Return one advised reading; ``now`` is the power state in which the board is."""
    head = Text.assemble((f"{number}. {_where(step)}", "bold"), f"   {_state(step, now)}")
    facts = f"{step['seconds']:.0f} s"
    if not step["again"]:
        facts += f", leaves {2.0 ** -step['bits']:.0%} of the suspects on average".replace("%", " %")
    rows = [
        (expected(each["low"], each["high"], step["unit"]), quiet(percent(each["probability"])), "→", _meaning(each))
        for each in step["outcomes"]
    ]
    why = [indented(Text(AGAIN[step["again"]], style=WARNING), 3)] if step["again"] else []
    return [
        head,
        *why,
        indented(stack(quiet(facts), table(("", "", "", ""), rows), quiet(f"write it like   {step['write']}")), 3),
    ]


def _meaning(outcome: Fields) -> str:
    names = ", ".join(name for name in outcome["points_to"] if name != "healthy")
    if outcome["as_healthy"]:
        return f"as on a healthy board; {names}" if names else "as on a healthy board"
    return names or "no suspect by itself, a smaller circle"


def _where(step: Fields) -> str:
    kind = KINDS.get(step["kind"], step["kind"])
    done = f", with {' and '.join(step['with'])}" if step["with"] else ""
    hint = ", ".join(part for part in (f"at {step['at']}" if step["at"] else "", step["note"]) if part)
    place = f"{step['place']} ({hint})" if hint else str(step["place"])
    if step["kind"] == "continuity":
        return f"continuity of {place}{' to ' + step['to'] if step['to'] else ''}{done}"
    if step["kind"] == "current":
        return f"current of {place}{done}"
    if step["to"]:
        return f"{kind} from {place} (red) to {step['to']} (black){done}"
    return f"{kind} at {place}{done}"


def _state(step: Fields, now: str) -> str:
    if step["state"] == now:
        return "power stays off" if now == "off" else f"stay in {now}"
    return "power off, charge drained" if step["state"] == "off" else f"go to {step['state']}"


def expected(low: float | str, high: float | str, unit: str) -> str:
    """Return a range that may be read, one of whose ends may be a word."""
    if isinstance(low, str):
        return low
    if isinstance(high, str):
        return f"{quantity(low, unit)} or more"
    first, second = quantity(low, unit), quantity(high, unit)
    return first if first == second else f"{first} to {second}"


def _cautions(fields: Fields) -> list[RenderableType]:
    own: Sequence[str] = list(dict.fromkeys(step["caution"] for step in fields["next"] if step["caution"]))
    texts = [*own, *fields["cautions"]]
    if not texts:
        return []
    return ["", heading("before you probe"), indented(table(("", ""), [(quiet("·"), text) for text in texts]))]
