"""The values that stand beside a part in a picture, short."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from seqsim.parts import UNKNOWN, Part, Supply
from seqsim.quantity import Unit, format_quantity


def short_values(part: Part) -> tuple[str, ...]:
    """Return what a reader wants to know of a part, a line each."""
    known = part.values()
    shown = []
    for name, words in SHOWN.get(part.kind, {}).items():
        if name in part.unknown:
            shown.append(UNKNOWN)
            continue
        found = getattr(part, name, None)
        if found is None:
            continue
        shown.append(words(format_quantity(float(found), known[name].unit)) if name in known else words(str(found)))
    return tuple(text for text in shown if text)


def supply_values(supply: Supply) -> tuple[str, ...]:
    """Return volts and source resistance of a supply."""
    return (
        UNKNOWN if "volts" in supply.unknown else format_quantity(supply.volts, Unit.VOLT),
        UNKNOWN if "ohms" in supply.unknown else format_quantity(supply.ohms, Unit.OHM),
    )


def _plain(text: str) -> str:
    return text


def _gate(text: str) -> str:
    return text.upper() if text.isalpha() else text


SHOWN: Mapping[str, Mapping[str, Callable[[Any], str]]] = {
    "resistor": {"ohms": _plain},
    "capacitor": {"farads": _plain},
    "inductor": {"henries": _plain},
    "ferrite": {"ohms": _plain},
    "fuse": {"amps": _plain},
    "diode": {"volts": _plain},
    "load": {"ohms": _plain, "amps": _plain},
    "regulator": {"volts": _plain},
    "supervisor": {"threshold": lambda text: f"< {text}"},
    "npn_prebiased": {"base_ohms": _plain, "base_emitter_ohms": _plain},
    "pnp_prebiased": {"base_ohms": _plain, "base_emitter_ohms": _plain},
    **{kind: {"family": _gate} for kind in ("and", "or", "nand", "nor", "xor", "xnor", "not", "buffer")},
}
"""Per kind the values that are shown, and how; kinds that are not listed show their name alone."""
