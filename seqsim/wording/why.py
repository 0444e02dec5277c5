"""The chain behind a level, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from seqsim.quantity import Unit, format_quantity
from seqsim.wording.tables import WARNING, heading, indented, quiet, stack, table, volts

Fields = Mapping[str, Any]

MOST_FLIPS = 4
"""Changes that would flip the node, in the short text."""
LEVELS = {
    "high": "high",
    "low": "low",
    "floating": "floating: nothing drives it",
    "contended": "contended: two drivers work against each other",
}
FICTION = (
    "what is shown comes from the 1 nS to ground that the model gives every node; a real one picks up what it likes"
)


def why_text(fields: Fields) -> RenderableType:
    """Return what `why` shows, from its documented fields."""
    board = "healthy" if not fields["faults"] else "with " + " and ".join(fields["faults"])
    if fields["measured"] is not None:
        board = "as measured, beside the healthy board"
    items: list[RenderableType] = [
        heading(
            f"{fields['circuit']}, {board}, state {fields['state']}: "
            f"{fields['node']} is {volts(fields['volts'])}, {LEVELS[fields['level']]}"
        )
    ]
    if fields["oscillates"]:
        loop = ", ".join(fields["oscillates"])
        items.append(Text(f"The board oscillates ({loop} switch each other); volts are averages.", style=WARNING))
    if fields["healthy_volts"] is not None:
        same = abs(fields["healthy_volts"] - fields["volts"]) < 0.1
        what = (
            "it is so on a healthy board, too" if same else f"on a healthy board it is {volts(fields['healthy_volts'])}"
        )
        items.append(f"{what[:1].upper()}{what[1:]}.")
    if not fields["applied"]:
        items.append("Nothing is applied in this state: each level is what leakage to ground leaves.")
    for step in fields["steps"]:
        items += ["", *step_text(step)]
    if fields["left_out"]:
        items.append(quiet("The chain goes on; what lies behind is left out."))
    items += _flips(fields)
    if fields["measured"] is not None:
        from seqsim.wording.measured import measured_text

        items += ["", *measured_text(fields["measured"])]
    return stack(*items)


def step_text(step: Fields) -> list[RenderableType]:
    """Return one node of the chain: its level and who makes it, then what decides that."""
    why = "this is what was read here" if step["read_here"] else level_text(step)
    items: list[RenderableType] = [Text.assemble((step["node"], "bold"), f" is {volts(step['volts'])}: {why}.")]
    if step["read_here"]:
        return items
    if step["back_fed"] is not None:
        items.append(indented(Text(back_fed_text(step))))
    given = [cause for cause in step["causes"] if cause["given"]]
    items += [indented(Text(cause_text(cause, step))) for cause in step["causes"] if not cause["given"]]
    if given:
        items.append(indented(quiet(f"Given: {_listed(dict.fromkeys(_given(cause) for cause in given))}.")))
    return items


def back_fed_text(step: Fields) -> str:
    """Return by which diodes a rail that is off is fed, with how much, and from where."""
    fed = step["back_fed"]
    ways = []
    for way in fed["by"]:
        what = "body diode" if "body diode" in way["diode"] else "clamp"
        ways.append(
            f"{_quantity(way['amps'], Unit.AMPERE)} through the {what} of {way['pin']}, out of {way['from']} "
            f"({volts(way['from_volts'])})" + _from_where(way)
        )
    return f"It is back-fed: {_listed(ways)}; otherwise it would be {volts(fed['volts_otherwise'])}."


def _from_where(way: Fields) -> str:
    if way["source"] == way["from"]:
        return ""
    through = f" through {_listed(way['through'])}" if way["through"] else ""
    return f", which has it from {way['source']}{through}"


def level_text(step: Fields) -> str:
    """Return who pulls a node which way, and who wins."""
    up, down = step["up"], step["down"]
    if step["level"] == "floating":
        return f"nothing drives it, it floats ({FICTION})"
    if up is None and down is None:
        holders = step["held_by"]
        if not holders:
            return "next to nothing flows here"
        return f"{_listed(_source(pull) for pull in holders[:2])} {_holds(holders)} it, next to nothing flows"
    if up is None or down is None:
        side, word = (up, "feeds") if down is None else (down, "draws on")
        return f"{_names(side)} {word} it ({_amps(side)})"
    first, second, word = (up, down, "up") if step["winner"] == "up" else (down, up, "down")
    if step["level"] == "contended":
        return (
            f"contended, {_names(up)} {_pulls(up)} it up {_strength(up)} and {_names(down)} {_pulls(down)} it down "
            f"{_strength(down)}, {_amps(up)} flow from one to the other"
        )
    if first["ohms"] is None or second["ohms"] is None or _all_base(second) or _all_base(first):
        feeds, takes = (down, up) if up["ohms"] is None or _all_base(up) else (up, down)
        verb, way = ("sends", "into") if feeds is up else ("draws", "out of")
        verb = verb.rstrip("s") if len(feeds["by"]) > 1 else verb
        return f"{_names(feeds)} {verb} {_amps(takes)} {way} {_takers(takes)}, which holds it there"
    return f"{_names(first)} {_pulls(first)} it {word} {_strength(first)}, against {_names(second)} {_strength(second)}"


def _all_base(side: Fields) -> bool:
    """Tell whether a side is nothing but bases, which take what they are given."""
    return all(pull["way"] == "base" for pull in side["by"])


def cause_text(cause: Fields, step: Fields) -> str:
    """Return one thing that decides a level, with what would be without it."""
    if cause["behind"]:
        return f"Without {cause['behind']} it would be held all the same, by {_behind(cause)}."
    sentence = _CAUSES[cause["what"]](cause, step)
    if cause["through"]:
        sentence += f" (it acts through {_listed(cause['through'])})"
    if cause["together"]:
        sentence += "; this counts together with the others"
    elif cause["would"] == "float":
        sentence += f"; without it {step['node']} would float"
    elif cause["what"] != "far end" and cause["volts_otherwise"] is not None:
        sentence += f"; otherwise {step['node']} would be {volts(cause['volts_otherwise'])}"
    return f"{sentence[:1].upper()}{sentence[1:]}." if sentence.startswith("the ") else f"{sentence}."


def _behind(cause: Fields) -> str:
    match cause["what"]:
        case "far end":
            return f"{cause['from']} through {cause['part']}"
        case "on" | "off" | "open" | "closed":
            return f"{cause['part']}, which would be {cause['what']}"
        case "absent":
            return f"the absence of {cause['part']}"
        case _:
            return str(cause["part"])


def _far(cause: Fields, step: Fields) -> str:
    del step
    return f"{cause['part']} brings the level of {cause['from']}, {volts(cause['from_volts'])}"


def _lift(cause: Fields, step: Fields) -> str:
    del step
    where = "ground" if cause["from"] == "GND" else cause["from"]
    return f"{cause['part']} connects it to {where}"


def _on(cause: Fields, step: Fields) -> str:
    del step
    return f"{cause['part']} is on, because {_drive(cause, on=True)}"


def _off(cause: Fields, step: Fields) -> str:
    del step
    would = {"up": ", which would pull it up,", "down": ", which would pull it down,"}.get(cause["would"] or "", "")
    return f"{cause['part']}{would} is off, because {_drive(cause, on=False)}"


def _drive(cause: Fields, *, on: bool) -> str:
    drive = cause["drive"]
    because = cause["because"][0] if cause["because"] else "its control"
    if "base_amps" in drive:
        amps = _quantity(abs(drive["base_amps"]), Unit.AMPERE)
        where = f"{because} is {_apart(drive['base_emitter_volts'])} its emitter"
        if on:
            return f"its base {'gets' if drive['base_amps'] >= 0 else 'gives'} {amps} ({where})"
        return f"its base gets no current worth the name ({where})"
    if "gate_source_volts" in drive:
        limit = _apart(drive["threshold_volts"])
        return f"its gate {because} is {_apart(drive['gate_source_volts'])} its source, and it turns on at {limit} it"
    return f"its diode has {volts(drive['led_volts'])} across it"


def _apart(difference: float) -> str:
    """Return a difference as volts above or below."""
    return f"{volts(abs(difference))} {'above' if difference >= 0 else 'below'}"


def _row(cause: Fields, step: Fields) -> str:
    del step
    drive = cause["drive"]
    if not drive["sees"]:
        return f"{cause['part']} sees its {drive['input']} as {'high' if drive['above'] else 'low'}"
    if len(drive["sees"]) > 1:
        seen = " against ".join(f"{_net(cause, k, one)} {volts(one['volts'])}" for k, one in enumerate(drive["sees"]))
        return f"{cause['part']} compares {seen}"
    one = drive["sees"][0]
    limit = "" if one["threshold_volts"] is None else f", threshold {volts(one['threshold_volts'])}"
    side = "high" if drive["above"] else "low"
    return f"{cause['part']} sees {drive['input']} ({_net(cause, 0, one)}) {side}: {volts(one['volts'])}{limit}"


def _net(cause: Fields, k: int, one: Fields) -> str:
    return str(cause["because"][k]) if k < len(cause["because"]) else str(one["pin"])


def _fault(cause: Fields, step: Fields) -> str:
    del step
    return f"{cause['fault']} does this"


_CAUSES = {
    "far end": _far,
    "path": _lift,
    "on": _on,
    "off": _off,
    "input": _row,
    "closed": lambda cause, _: f"{cause['part']} is closed",
    "open": lambda cause, _: f"{cause['part']} is open",
    "applied": lambda cause, _: f"{cause['part']} is applied",
    "absent": lambda cause, _: f"{cause['part']} is not applied",
    "fault": _fault,
}


def _given(cause: Fields) -> str:
    return f"{' and '.join(dict.fromkeys(cause['because']))} up"


def _source(pull: Fields) -> str:
    where = pull["from"]
    if pull["way"] == "supply":
        return str(pull["part"])
    if where is None or where == pull["part"]:
        return str(pull["part"])
    return f"{pull['part']} ({'to ground' if where == 'GND' else f'to {where}'})"


def _names(side: Fields) -> str:
    return _listed(_pull(pull) for pull in side["by"])


def _pull(pull: Fields) -> str:
    """Return a part with the net at its other end, where that tells something."""
    where = pull["from"]
    tells = pull["way"] in ("passes", "added") and where not in (None, "GND")
    return f"{pull['part']} (to {where})" if tells else str(pull["part"])


def _takers(side: Fields) -> str:
    return _listed(f"the base of {p['part']}" if p["way"] == "base" else p["part"] for p in side["by"])


def _strength(side: Fields) -> str:
    """Return a side as what it would be alone: volts behind a resistance."""
    return f"({_quantity(side['ohms'], Unit.OHM)} to {volts(side['volts'])})"


def _amps(side: Fields) -> str:
    return _quantity(side["amps"], Unit.AMPERE)


def _quantity(value: float, unit: Unit) -> str:
    return format_quantity(value, unit)


def _pulls(side: Fields) -> str:
    return "pull" if len(side["by"]) > 1 else "pulls"


def _holds(holders: Sequence[Fields]) -> str:
    return "hold" if len(holders) > 1 else "holds"


def _listed(names: Any) -> str:
    items = list(names)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def _flips(fields: Fields) -> list[RenderableType]:
    wanted = fields["flips"] if fields["deep"] else fields["flips"][:MOST_FLIPS]
    if not wanted:
        return []
    rows = [(_changes(flip["changes"]), f"{fields['node']} {volts(flip['volts'])}") for flip in wanted]
    title = "the smallest changes that would flip it, each tried in the solver"
    return ["", heading(title), indented(table(("", ""), rows))]


def _changes(changes: Sequence[Fields]) -> str:
    return " and ".join(_change(change) for change in changes)


def _change(change: Fields) -> str:
    match change["what"]:
        case "force":
            way = "above" if change["to_volts"] > change["volts"] else "below"
            return (
                f"{change['place']} {way} {volts(change['to_volts'])} (now {volts(change['volts'])}; {change['part']})"
            )
        case "fault":
            return f"without {change['part']}"
        case "apply":
            return f"{change['part']} applied"
        case "take away":
            return f"{change['part']} taken away"
        case "open":
            return f"{change['part']} opened"
        case _:
            return f"{change['part']} closed"
