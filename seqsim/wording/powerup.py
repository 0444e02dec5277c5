"""A power-up over time in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.quantity import Unit, format_quantity
from seqsim.wording.tables import WARNING, count, heading, indented, percent, quiet, stack, table, volts

MOST_EVENTS = 60
"""Events that people are shown; programs get all."""


def powerup_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return what `powerup` shows, from its documented fields."""
    faults = fields["faults"]
    board = "healthy" if not faults else "with " + " and ".join(faults)
    states = ", ".join(f"{state['state']} at {seconds(state['at_s'])}" for state in fields["states"])
    items: list[RenderableType] = [
        heading(f"{fields['circuit']}, {board}, powered up until {seconds(fields['until_s'])}"),
        quiet(f"power states: {states}" if states else "no power state began"),
    ]
    if fields["skipped_states"]:
        items.append(Text(f"not reached in this time: {', '.join(fields['skipped_states'])}", style=WARNING))
    if fields["bound"]:
        items.append(Text(f"the run was ended early, after {fields['bound']}; what follows is cut off", style=WARNING))
    if fields["rails"]:
        items += [heading("rails, in the order in which they should come up"), _rails(fields)]
    items += _missing(fields)
    items += _target(fields)
    items += _events(fields["events"])
    items += _unrest(fields)
    items += _rules(fields)
    if fields["draws"]:
        items.append(
            quiet(f"shares: of {fields['draws']} boards whose parts lie elsewhere within their healthy spreads.")
        )
    return stack(*items)


def seconds(value: float | None) -> str:
    """Return a time with what tells neighbouring events apart."""
    if value is None:
        return "never"
    if value < 0.01 or value >= 10:
        return format_quantity(value, Unit.SECOND, 4)
    return f"{value * 1e3:.2f} ms"


def _rails(fields: Mapping[str, Any]) -> RenderableType:
    rows = []
    for rail in fields["rails"]:
        verdict = rail["verdict"]
        if rail["dips"] and rail["came_up"]:
            verdict += f", with {count(len(rail['dips']), 'dip')} (the first at {seconds(rail['dips'][0][0])})"
        odds = rail["odds"]
        share = "" if odds is None or odds == float(rail["came_up"]) else f"up on {percent(odds)} of boards"
        text = Text(verdict, style="" if rail["came_up"] else WARNING)
        up = seconds(rail["up_at_s"])
        rows.append((rail["net"], volts(rail["nominal"]), up, volts(rail["final_volts"]), text, share))
    return indented(table(("rail", "nominal", "up at", "final", "verdict", ""), rows, right=(1, 2, 3)))


def _missing(fields: Mapping[str, Any]) -> list[RenderableType]:
    if fields["first_missing"] is None:
        return [Text("every rail came up")] if fields["rails"] else []
    return [
        Text(f"first missing: {fields['first_missing']}", style=WARNING),
        indented(Text(f"it waits for {fields['waits_for']}")),
    ]


def _target(fields: Mapping[str, Any]) -> list[RenderableType]:
    target = fields["target"]
    if target is None:
        return []
    spans = target["high_spans"]
    if not spans:
        history = "is never high"
    elif target["high_at_s"] is None:
        history = f"rises at {seconds(spans[0][0])} and falls again at {seconds(spans[0][1])}"
    elif len(spans) == 1:
        history = f"is high from {seconds(target['high_at_s'])} on"
    else:
        history = (
            f"is high from {seconds(target['high_at_s'])} on, after {count(len(spans) - 1, 'earlier rise')} "
            f"(the first at {seconds(spans[0][0])})"
        )
    text = f"target {target['net']} {history}; it ends at {volts(target['final_volts'])}"
    odds = target["odds"]
    if odds is not None and odds != float(target["high_at_s"] is not None):
        text += f"; high on {percent(odds)} of boards"
    items: list[RenderableType] = [Text(text)]
    if target["held_by"]:
        items.append(indented(Text(target["held_by"])))
    return items


def _events(events: list[Mapping[str, Any]]) -> list[RenderableType]:
    if not events:
        return []
    rows = [(seconds(event["t_s"]), event["what"]) for event in events[:MOST_EVENTS]]
    items: list[RenderableType] = [heading("events"), indented(table(("", ""), rows, right=(0,)))]
    if len(events) > MOST_EVENTS:
        items.append(indented(quiet(f"{len(events) - MOST_EVENTS} more; --json lists all")))
    return items


def _unrest(fields: Mapping[str, Any]) -> list[RenderableType]:
    told = [
        f"keeps switching: {found['what']}, {found['times']} times from {seconds(found['since_s'])} to "
        f"{seconds(found['until_s'])}, about every {seconds(found['period_s'])}"
        for found in fields["oscillations"]
    ]
    if fields["chatter"]:
        who = ", ".join(fields["chatter"])
        told.append(f"chatter: {who} switch faster than is followed; take averages broadly")
    told += [
        f"race: {race['first']} comes before {race['second']} on {percent(race['odds'])} of boards"
        for race in fields["races"]
    ]
    return [Text(text, style=WARNING) for text in told]


def _rules(fields: Mapping[str, Any]) -> list[RenderableType]:
    if not fields["rules"]:
        return []
    rows = []
    for rule in fields["rules"]:
        verdict = Text("holds") if rule["holds"] else Text(f"broken at {seconds(rule['at_s'])}", style=WARNING)
        share = rule["broken_share"]
        boards = f"broken on {percent(share)} of boards" if share and share != float(not rule["holds"]) else ""
        rows.append((rule["rule"], verdict, rule["why"], boards))
    return [heading("rules"), indented(table(("", "", "", ""), rows))]
