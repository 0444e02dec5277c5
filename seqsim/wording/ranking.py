"""A ranking in words: where and what on two lines, then each hypothesis with its reasons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.wording.history import history_text
from seqsim.wording.next_reading import SURE, expected, step_text, stop_text
from seqsim.wording.reference import reference_text
from seqsim.wording.tables import WARNING, count, heading, indented, listing, percent, quantity, quiet, stack, table

SHOWN = 0.01
"""Hypotheses below this probability are only counted."""
MOST = 6
"""Hypotheses that are shown in full."""
NAMED, STILL = 4, 0.01
"""Look-alikes of the best hypothesis that are named, and the share of its probability from which they are left."""
VERDICTS = {
    "as_healthy": "as on a healthy board",
    "low": "low",
    "high": "high",
    "contradicts_another": "contradicts another reading",
    "no_prediction": "nothing is predicted here",
}
LEVELLESS = ("pulsing", "floating")
UNLIKE = "unlike a healthy board"
"""How a word that tells no level stands to a healthy board."""
OVER_TIME = "over time"
"""Kind of what was seen while a board was powered up: a behaviour has no prediction in volts."""
SPEAKS = {"for": "for", "against": "against", "neutral": "says little"}

DEAD_KINDS = frozenset({"ohms", "diode", "continuity"})
"""Kinds of readings that are taken with power off."""

Fields = Mapping[str, Any]


def ranking_text(fields: Fields) -> RenderableType:
    """Return what `rank` shows, from its documented fields."""
    likely = [h for h in fields["hypotheses"] if h["probability"] >= SHOWN][:MOST]
    rest = 1 - fields["none_of_these"] - sum(h["probability"] for h in likely)
    items: list[RenderableType] = [
        *reference_text(fields.get("reference", ())),
        listing([("where", _where(fields)), ("what", _what(fields))]),
        "",
        heading(f"{fields['circuit']}: {count(len(fields['readings']), 'reading')}"),
        indented(_readings(fields["readings"])),
        *_again(fields["read_again"]),
        *history_text(fields.get("history", ())),
        "",
    ]
    for k, hypothesis in enumerate(likely, start=1):
        items += [*_hypothesis(k, hypothesis, fields["readings"]), ""]
    tail = [("none of these", percent(fields["none_of_these"]))]
    if rest > 0.0005 and len(fields["hypotheses"]) > len(likely):
        tail.insert(0, (f"{len(fields['hypotheses']) - len(likely)} others together", percent(rest)))
    items.append(table(("", ""), tail))
    items += stop_text(fields["stop"]) if fields.get("stop") else _next(fields["next"], fields["readings"])
    items += _cautions(fields.get("cautions", ()))
    return stack(*items)


def name_of(hypothesis: Fields) -> str:
    """Return what a hypothesis says is wrong."""
    return " and ".join(hypothesis["faults"]) or hypothesis.get("told") or "healthy: nothing is broken"


def _where(fields: Fields) -> Text:
    if not fields["where"]:
        return Text("nowhere in particular")
    best, *others = fields["where"]
    line = Text.assemble((str(best["place"]), "bold"), f"  {percent(best['probability'])}")
    near = [place for place in best.get("places", ()) if place != best["place"]]
    if near:
        line.append(f"  (with {', '.join(near[:4])}{' and others' if len(near) > 4 else ''})")
    if others and others[0]["probability"] >= SHOWN:
        line.append(f"; else {_other(others[0], best, fields)}  {percent(others[0]['probability'])}")
    return line


def _other(spot: Fields, best: Fields, fields: Fields) -> str:
    """Return where else, by what may be wrong there if it is the same place."""
    mine = [h for h in fields["hypotheses"] if h["group"] == spot.get("group", -1) and h["group"] >= 0]
    return name_of(mine[0]) if mine and spot["place"] == best["place"] else str(spot["place"])


def _what(fields: Fields) -> Text:
    if not fields["hypotheses"] or fields["none_of_these"] >= max(h["probability"] for h in fields["hypotheses"]):
        return Text("none of the faults that are known here: look for what the list lacks, and check the readings")
    best = fields["hypotheses"][0]
    line = Text.assemble((name_of(best), "bold"), f"  {chance(best)}")
    remarks = [alike] if (alike := _alike(best, fields["hypotheses"])) else []
    if best["faults"] and best["probability"] > SURE:
        remarks.append(_confirmed(best, fields["readings"]))
    if remarks:
        line.append(f"  ({'; '.join(remarks)})")
    return line


def chance(hypothesis: Fields) -> str:
    """Return the probability of a hypothesis, if it may be stated: above 80 % only once a check speaks for it."""
    return percent(hypothesis["probability"]) if hypothesis["stated"] else "likeliest, not checked yet"


def _confirmed(best: Fields, readings: Sequence[Fields]) -> str:
    """Return which check with power off speaks for a mechanism, or which it waits for."""
    checks = [
        f"{_site(reading)[0]} {quantity(reading['value'], reading['unit'])}"
        for prediction, reading in zip(best.get("predictions", ()), readings, strict=False)
        if prediction["speaks"] == "for" and reading["kind"] in DEAD_KINDS
    ]
    if checks:
        return f"a check with power off speaks for it: {', '.join(checks[:2])}"
    return f"before it is stated or anything replaced: {best['confirm'] or 'a check with power off'}"


def _alike(best: Fields, hypotheses: Sequence[Fields]) -> str:
    """Return how many look-alikes of the best hypothesis are still in the running, and which."""
    least = STILL * best["probability"]
    left = [h for h in hypotheses if h is not best and h["group"] == best["group"] and h["probability"] > least]
    if not left:
        return ""
    more = " and others" if len(left) > NAMED else ""
    names = ", ".join(name_of(h) for h in left[:NAMED])
    return f"{count(len(left), 'look-alike')} that no reading so far tells from it: {names}{more}"


def _readings(readings: Sequence[Fields]) -> RenderableType:
    rows = []
    for reading in readings:
        healthy = "" if reading["kind"] == OVER_TIME else "?"
        if reading["healthy_low"] is not None and reading["healthy_high"] is not None:
            healthy = quantity([reading["healthy_low"], reading["healthy_high"]], reading["unit"])
        told = (
            UNLIKE if reading["value"] in LEVELLESS and reading["verdict"] == "high" else VERDICTS[reading["verdict"]]
        )
        verdict = Text(told, style="" if reading["verdict"] == "as_healthy" else WARNING)
        rows.append((*_site(reading), quantity(reading["value"], reading["unit"]), healthy, verdict))
    return table(("place", "kind", "state", "read", "on a healthy board", "so it is"), rows, right=(3,))


def _site(reading: Fields) -> tuple[str, str, str]:
    place = f"{reading['place']} to {reading['to']}" if reading.get("to") else str(reading["place"])
    if reading.get("with"):
        place += f", with {' and '.join(reading['with'])}"
    return place, str(reading["kind"]), f"@{reading['state']}"


def _again(read_again: Sequence[Fields]) -> list[RenderableType]:
    if not read_again:
        return []
    rows = [(*_site(reading), reading["caution"] or "") for reading in read_again]
    told = [f"{_site(reading)[0]}: {reading['meant']}" for reading in read_again if reading.get("meant")]
    return [
        heading("read again, since a slip is likely"),
        indented(table(("place", "kind", "state", "caution"), rows)),
        *(indented(Text(line, style=WARNING)) for line in told),
    ]


def _hypothesis(number: int, hypothesis: Fields, readings: Sequence[Fields]) -> list[RenderableType]:
    head = Text.assemble(
        (f"{number}. {name_of(hypothesis)}", "bold"),
        f"   {chance(hypothesis)}",
        (f"   explains {hypothesis['readings_explained']} of {hypothesis['readings_total']}", "dim"),
    )
    if hypothesis["group_size"] > 1:
        head.append(f"   one of {hypothesis['group_size']} look-alikes (group {hypothesis['group']})", style="dim")
    items: list[RenderableType] = [head]
    predictions = hypothesis.get("predictions", ())
    if predictions:
        items.append(indented(_predictions(predictions, readings, complete=number == 1), 3))
    told = {**hypothesis, "proof": _proof(hypothesis.get("proof", ()))}
    advice = [(key, told[key]) for key in ("confirm", "repair", "proof", "caution") if told[key]]
    if advice:
        items.append(indented(listing(advice), 3))
    return items


def _proof(proof: Sequence[Fields]) -> str:
    """Return what is read once a fault is repaired."""
    shown = []
    for each in proof:
        place, _, state = _site(each)
        shown.append(f"{place} {state} {expected(each['low'], each['high'], each['unit'])}")
    return f"once repaired, {'; '.join(shown)}" if shown else ""


def _predictions(predictions: Sequence[Fields], readings: Sequence[Fields], *, complete: bool) -> RenderableType:
    """Return what is predicted beside what was read; unless ``complete``, readings that say little are counted."""
    rows = []
    for prediction, reading in zip(predictions, readings, strict=True):
        if prediction["speaks"] == "neutral" and not complete:
            continue
        place, _, state = _site(reading)
        unit = reading["unit"]
        spread = ""
        if prediction["low"] is not None and prediction["high"] is not None:
            spread = quantity([prediction["low"], prediction["high"]], unit)
        speaks = SPEAKS[prediction["speaks"]]
        rows.append((
            f"{place} {state}", f"read {quantity(reading['value'], unit)}",
            "" if reading["kind"] == OVER_TIME else f"predicted {_predicted(prediction['predicted'], reading)}", spread,
            Text(speaks, style=WARNING if prediction["speaks"] == "against" else ""),
        ))  # fmt: skip
    shown = table(("", "", "", "", ""), rows)
    left = len(predictions) - len(rows)
    if not left:
        return shown
    told = quiet(f"{count(left, 'reading')} {'says' if left == 1 else 'say'} little")
    return stack(shown, told) if rows else told


def _predicted(value: float | str | None, reading: Fields) -> str:
    """Return a predicted display; what is beyond its range reads OL in every function but volts."""
    if value is None and reading["kind"] != "volts":
        return "OL"
    return quantity(value, str(reading["unit"]))


def _next(following: Sequence[Fields], readings: Sequence[Fields]) -> list[RenderableType]:
    if not following:
        return []
    items: list[RenderableType] = ["", heading("read next")]
    for number, step in enumerate(following, start=1):
        items.append(indented(stack(*step_text(number, step, readings[-1]["state"] if readings else "off"))))
    own = dict.fromkeys(step["caution"] for step in following if step["caution"])
    return [*items, *(indented(quiet(caution)) for caution in own)]


def _cautions(cautions: Sequence[str]) -> list[RenderableType]:
    if not cautions:
        return []
    return [
        "",
        heading("before you probe or repair"),
        indented(table(("", ""), [(quiet("·"), caution) for caution in cautions])),
    ]
