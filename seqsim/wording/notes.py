"""Uncertain drawings in words: what was assumed and why, and what to trace next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.tables import WARNING, count, heading, indented, percent, quiet, stack, table

SURE = 0.5
"""From this probability on an answer is called most likely."""
SHOWN = 3
STEPS = 4

Fields = Mapping[str, Any]

_NAMES = {
    "npn": "an NPN", "pnp": "a PNP", "nmos": "an N-MOSFET", "pmos": "a P-MOSFET", "diode": "a diode",
    "diode common-cathode": "a dual diode, common cathode", "diode common-anode": "a dual diode, common anode",
    "diode series": "a dual diode, in series",
}  # fmt: skip


def unsure_text(fields: Fields) -> RenderableType:
    """Return what a ranking assumed of the drawing, and what to trace next."""
    weighed, diagnosed = fields["drawings"]["weighed"], fields["drawings"]["diagnosed"]
    items: list[RenderableType] = []
    if fields["unknowns"]:
        items.append(heading("assumed of the drawing"))
        items.append(indented(unknowns_table(fields["unknowns"])))
        items.append(indented(quiet(f"{count(weighed, 'drawing')} weighed, {diagnosed} diagnosed whole and mixed")))
    items += [indented(quiet(f"taken for granted: {sentence}")) for sentence in fields["assumed"]]
    items += trace_items(fields["trace"])
    return stack(*items)


def notes_text(fields: Fields) -> RenderableType:
    """Return notes as they stand: lines with their numbers, parts and nets, what is doubtful, what to trace next."""
    wrong = {error["line"] for error in fields["errors"]}
    lines = [
        (quiet(str(each["line"])), Text(each["text"], style=WARNING if each["line"] in wrong else ""))
        for each in fields["lines"]
    ]
    items: list[RenderableType] = [heading(fields["notes"])]
    if lines:
        items.append(indented(table(("", ""), lines, right=(0,))))
    items += [indented(Text(change)) for change in fields["changes"]]
    if fields["errors"]:
        rows = [(f"line {error['line']}", Text(error["message"], style=WARNING)) for error in fields["errors"]]
        return stack(*items, "", heading("to be mended"), indented(table(("", ""), rows)))
    parts = ", ".join(f"{name} {kind}" for name, kind in fields["parts"].items())
    items += ["", heading(f"{count(len(fields['parts']), 'part')}, target {fields['target'] or 'not named'}")]
    items.append(indented(Text(parts)))
    items.append(indented(table(("net", "on it"), [(net, ", ".join(pins)) for net, pins in fields["nets"].items()])))
    items += [indented(quiet(f"taken for granted: {sentence}")) for sentence in fields["assumed"]]
    if fields["unknowns"]:
        items += ["", heading("what is not known"), indented(unknowns_table(fields["unknowns"]))]
    return stack(*items, *trace_items(fields["trace"]))


def taken_text(taken: Sequence[Fields]) -> str:
    """Return what a drawing was taken to be where notes leave it open, in one sentence; empty if nothing was open."""
    if not taken:
        return ""
    told = ", ".join(
        f"{each['name']}{' from beyond' if each['about'] == 'upstream' else ''} as {_label(each)} "
        f"{percent(each['probability'])}"
        for each in taken
    )
    return f"the likeliest drawing alone: {told}; `seqsim rank` weighs the others too"


def unknowns_table(unknowns: Sequence[Fields]) -> RenderableType:
    """Return what is believed of each doubt."""
    return table(("", "", ""), [(each["name"], believed(each), quiet(each["because"])) for each in unknowns])


def believed(unknown: Fields) -> Text:
    """Return what is believed of a doubt: one answer if it is likely, else the first few."""
    answers = [each for each in unknown["answers"] if each["probability"] > 0.005]
    subject = {
        "kind": unknown["place"], "value": unknown["place"], "upstream": f"{unknown['name']} from beyond",
    }.get(unknown["about"], unknown["name"])  # fmt: skip
    if not answers:
        return Text(f"{subject}: nothing is known")
    if unknown["span"]:
        return Text.assemble(f"{subject} is ", (unknown["span"], "bold"), " (90 %)")
    best = answers[0]
    rest = ", ".join(f"{_label(each)} {percent(each['probability'])}" for each in answers[1:SHOWN])
    more = f"; else {rest}" if rest else ""
    if best["probability"] >= SURE:
        return Text.assemble(f"{subject} is most likely {_label(best)} ", (percent(best["probability"]), "bold"), more)
    return Text.assemble(f"{subject} may be {_label(best)} ", (percent(best["probability"]), "bold"), more)


def _label(answer: Fields) -> str:
    kind, bracket, order = str(answer["answer"]).partition(" (")
    return _NAMES.get(kind, kind) + (f", legs as in {order.removesuffix(')')}" if bracket else "")


def trace_items(trace: Sequence[Fields]) -> list[RenderableType]:
    """Return what to trace next, with what it tells."""
    if not trace:
        return []
    rows = [
        (
            each["action"],
            quiet(
                f"{each['level_bits']:.2f} bit of the target's level, {each['place_bits']:.2f} of where the fault is"
            ),
        )
        for each in trace[:STEPS]
    ]
    items: list[RenderableType] = ["", heading("trace next")]
    for number, (action, told) in enumerate(rows, start=1):
        items += [indented(Text.assemble((f"{number}. {action}", "bold"))), indented(told, 5)]
    return [*items, indented(quiet(trace[0]["caution"]))]
