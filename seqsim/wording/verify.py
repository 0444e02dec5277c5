"""A verification in words: the verdict, rails and places in order, and what has still to be read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.next_reading import expected
from seqsim.wording.notes import taken_text
from seqsim.wording.tables import WARNING, count, heading, indented, quantity, quiet, stack, table

Fields = Mapping[str, Any]

VERDICTS = {"as_healthy": "right", "low": "LOW", "high": "HIGH", "off": "OFF"}


def verification_text(fields: Fields) -> RenderableType:
    """Return what `verify` shows, from its documented fields."""
    rails = [line for line in fields["readings"] if line["rail"]]
    places = [line for line in fields["readings"] if not line["rail"]]
    items: list[RenderableType] = [_verdict(fields)]
    if fields["taken"]:
        items.append(indented(quiet(f"taken: {taken_text(fields['taken'])}")))
    if rails:
        items += ["", heading("rails, in their order"), indented(_lines(rails))]
    if places:
        items += ["", heading("place by place"), indented(_lines(places))]
    if fields["missing"]:
        rows = [
            (
                _site(each),
                str(each["kind"]),
                f"@{each['state']}",
                _right(each),
                quiet(each["why"]),
            )
            for each in fields["missing"]
        ]
        items += ["", heading("still to be read"), indented(table(("place", "", "state", "should be", ""), rows))]
        items.append(indented(quiet(f"write it like   {fields['missing'][0]['write']}")))
    cautions = list(dict.fromkeys([
        *(each["caution"] for each in fields["missing"] if each["caution"]), *fields["cautions"],
    ]))  # fmt: skip
    items += ["", heading("before you probe"), indented(table(("", ""), [(quiet("·"), text) for text in cautions]))]
    return stack(*items)


def _verdict(fields: Fields) -> Text:
    wrong = [line for line in fields["readings"] if line["verdict"] != "as_healthy"]
    gone = f", {' and '.join(fields['repaired'])} repaired" if fields["repaired"] else ""
    board = f"{fields['circuit']}{gone}: "
    match fields["verdict"]:
        case "proved":
            return Text.assemble(
                board, ("proved", "bold"), f". All of {count(len(fields['readings']), 'reading')} is right."
            )
        case "off":
            first = wrong[0]
            text = (
                f". {count(len(wrong), 'reading')} of {len(fields['readings'])} {'is' if len(wrong) == 1 else 'are'} "
                f"wrong, the first at {_site(first)} @{first['state']}: rank the board by these readings."
            )
            return Text.assemble(board, ("not good", f"bold {WARNING}"), text)
        case _:
            missing = count(len(fields["missing"]), "reading")
            right = (
                f"what was read is right, but {missing} still to be taken"
                if fields["readings"]
                else f"{missing} to take"
            )
            return Text.assemble(board, ("not yet proved", "bold"), f": {right}.")


def _lines(lines: list[Fields]) -> RenderableType:
    rows = [
        (
            _site(line), str(line["kind"]), f"@{line['state']}", quantity(line["value"], line["unit"]), _right(line),
            Text(VERDICTS[line["verdict"]], style="" if line["verdict"] == "as_healthy" else f"bold {WARNING}"),
        )
        for line in lines
    ]  # fmt: skip
    return table(("place", "", "state", "read", "should be", ""), rows, right=(3,))


def _site(line: Fields) -> str:
    return f"{line['place']} to {line['to']}" if line["to"] else str(line["place"])


def _right(line: Fields) -> str:
    return expected(line["low"], line["high"], line["unit"])
