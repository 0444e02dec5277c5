"""The library of circuits and the kinds of parts, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import Notes, heading, indented, quiet, stack, table


def circuits_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return the circuits of the library, one line each."""
    rows = [
        (
            circuit["level"] or "",
            circuit["name"],
            str(circuit["parts"]),
            "yes" if circuit["readings"] else "",
            circuit["title"],
        )
        for circuit in fields["circuits"]
    ]
    return stack(
        table(("level", "circuit", "parts", "readings", "what it is"), rows, right=(2,)),
        quiet("A circuit with readings can be tried at once: seqsim rank CIRCUIT CIRCUIT.readings.yaml"),
    )


def kinds_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return the kinds of parts, one line each."""
    rows = [
        (kind["kind"], kind["title"], " ".join(_pins(kind)), " ".join(value["name"] for value in kind["values"]))
        for kind in fields["kinds"]
    ]
    return stack(
        table(("kind", "what it is", "pins", "values"), rows),
        quiet("Pins in brackets may be left out. `seqsim list --parts KIND` tells units, defaults and sources."),
    )


def kind_text(kind: Mapping[str, Any]) -> RenderableType:
    """Return all that is known of one kind of part, each figure with the number of its source."""
    notes = Notes()
    values = [
        (
            value["name"], value["shown_default"], value["unit"], value["shown_spread"], value["meaning"],
            notes.number(value),
        )
        for value in kind["values"]
    ]  # fmt: skip
    items: list[RenderableType] = [
        heading(f"{kind['kind']}: {kind['title']}"),
        indented(table(("", ""), [("pins, in the order of a list", " ".join(_pins(kind)))])),
        indented(table(("value", "default", "unit", "spread", "meaning", ""), values)),
    ]
    options = [
        (option["name"], _plain(option["default"]), " | ".join(option["choices"]) or "free text")
        for option in kind["options"]
    ]
    if options:
        items.append(indented(table(("option", "default", "choices"), options)))
    if kind["models"]:
        default = f" ({kind['default_model']} unless `model:` says otherwise)" if kind["default_model"] else ""
        models = [(model["name"], _settings(model["values"]), notes.number(model)) for model in kind["models"]]
        items += [heading(f"device types{default}"), indented(table(("", "values in SI units", ""), models))]
    if kind["modes"]:
        modes = [(mode["name"], f"{mode['share'] * 100:.3g} %", notes.number(mode)) for mode in kind["modes"]]
        rate = f"{kind['rate']['relative']:g} times as often as a film resistor {notes.number(kind['rate'])}"
        items += [heading(f"how it fails, {rate}"), indented(table(("", "share", ""), modes, right=(1,)))]
    return stack(*items, heading("sources"), indented(notes.legend()))


def _pins(kind: Mapping[str, Any]) -> list[str]:
    return [f"[{pin}]" if pin in kind["optional_pins"] else pin for pin in kind["pins"]]


def _settings(values: Mapping[str, Any]) -> str:
    return ", ".join(f"{name} {_plain(value)}" for name, value in values.items())


def _plain(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, float) else str(value)
