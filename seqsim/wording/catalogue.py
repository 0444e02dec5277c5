"""The library of circuits and the kinds of parts, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import RenderableType

from seqsim.wording.tables import heading, indented, quiet, stack, table


def circuits_text(fields: Mapping[str, Any]) -> RenderableType:
    """Return the circuits of the library, one line each."""
    rows = [
        (circuit["name"], str(circuit["parts"]), "yes" if circuit["readings"] else "", circuit["title"])
        for circuit in fields["circuits"]
    ]
    return stack(
        table(("circuit", "parts", "readings", "what it is"), rows, right=(1,)),
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
    """Return all that is known of one kind of part."""
    rows = [
        (value["name"], value["shown_default"], value["unit"], value["shown_spread"], value["meaning"])
        for value in kind["values"]
    ]
    items: list[RenderableType] = [
        heading(f"{kind['kind']}: {kind['title']}"),
        indented(table(("", ""), [("pins, in the order of a list", " ".join(_pins(kind)))])),
        indented(table(("value", "default", "unit", "spread", "meaning"), rows)),
    ]
    sources = [(value["name"], value["source"], value["standing"]) for value in kind["values"]]
    items += [heading("sources"), indented(table(("value", "source", "standing"), sources))]
    if kind["models"]:
        listed = [(name, _settings(values)) for name, values in kind["models"].items()]
        default = f" ({kind['default_model']} unless `model:` says otherwise)" if kind["default_model"] else ""
        items += [heading(f"models{default}"), indented(table(("model", "values in SI units"), listed))]
    modes = [(mode["name"], f"{mode['share'] * 100:.3g} %", mode["source"], mode["standing"]) for mode in kind["modes"]]
    if modes:
        items += [
            heading("how it fails"),
            indented(table(("mode", "share", "source", "standing"), modes, right=(1,))),
        ]
    return stack(*items)


def _pins(kind: Mapping[str, Any]) -> list[str]:
    return [f"[{pin}]" if pin in kind["optional_pins"] else pin for pin in kind["pins"]]


def _settings(values: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{name} {value:g}" if isinstance(value, float) else f"{name} {value}" for name, value in values.items()
    )
