"""How far the device laws may miss a board, as measured against SPICE with full device models.

The figures lie in model_error.json; `seqsim.spice.model_error` measures them and writes that file.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import cache
from importlib.resources import files
from pathlib import Path

from seqsim.network import Effect, Knob, Network, Turned

FILE = "model_error.json"
SATURATION, JUNCTION, DIODE, THRESHOLD, GAIN = LAWS = ("saturation", "junction", "diode", "threshold", "gain")
"""The laws whose errors count: both junctions of a bipolar transistor against each other, and together; a diode or a
light-emitting one; the gate voltage of a channel; the current gain."""

CHIP_DIODE = re.compile(r"(clamp|body diode)\b.* \d+$")
"""Roles of the chords of diodes inside a chip."""
CHIP_DIODE_VOLTS = 0.04
"""Standard deviation (V) of the diodes inside a chip: in diode mode a pin reads 0.4 to 0.7 V (common practice)."""


@dataclass(frozen=True)
class ModelError:
    """Standard deviations of the laws' errors, one by one, and of what is left.

    ``laws`` holds what is shared by all readings of a device: a shift in volts of its junctions or its threshold, for
    ``gain`` the logarithm of a factor. ``residual_volts`` and ``residual_share`` are of each node by itself, volts and
    a share of its level, whose squares add. ``states`` and ``nodes`` tell how much was measured on ``circuits``,
    ``within_two`` which share of nodes of other circuits lies within two standard deviations.
    """

    circuits: tuple[str, ...]
    states: int
    nodes: int
    laws: Mapping[str, float]
    residual_volts: float
    residual_share: float
    within_two: float

    def save(self) -> Path:
        """Write the file that the package reads and return its path."""
        path = Path(str(files(__package__).joinpath(FILE)))
        path.write_text(json.dumps(asdict(self), indent=1) + "\n", encoding="utf-8")
        return path


@cache
def model_error() -> ModelError:
    """Return the measured figures."""
    fields = json.loads(files(__package__).joinpath(FILE).read_text(encoding="utf-8"))
    return ModelError(**fields | {"circuits": tuple(fields["circuits"])})


def law_of(knob: Knob) -> str | None:
    """Return the law that a knob of a part turns, if its error is measured."""
    roles = [turned.role for turned in knob.turned]
    if any(role.startswith("channel") for role in roles):
        return THRESHOLD if knob.name == "threshold" else None
    if any(role.startswith("base-emitter") for role in roles):
        return {"junction": JUNCTION, "gain": GAIN}.get(knob.name)
    return DIODE if knob.name.endswith("junction") else None


def saturation_knobs(network: Network, spread: float) -> dict[tuple[str, str], Knob]:
    """Return a knob for each transistor that shifts its base-collector junction alone."""
    found = {}
    for owner, hinges in network.hinges_of.items():
        roles = [network.roles[k] for k in hinges if network.roles[k].startswith("base-collector junction")]
        if roles:
            turned = tuple(Turned(role, Effect.SHIFT) for role in roles)
            found[owner, SATURATION] = Knob(owner, SATURATION, 0.0, spread, "measured model error", turned)
    return found


def chip_diode_knobs(network: Network, law: float) -> dict[tuple[str, str], Knob]:
    """Return a knob for each chip that shifts its clamps and body diodes together: one piece of silicon has them all.

    ``law`` (V) is the error of a diode's law, beside what chips differ by.
    """
    known = {(knob.owner, turned.role) for knob in network.knobs.values() for turned in knob.turned}
    found = {}
    for owner, hinges in network.hinges_of.items():
        roles = dict.fromkeys(network.roles[k] for k in hinges)
        turned = tuple(
            Turned(role, Effect.SHIFT) for role in roles if CHIP_DIODE.search(role) and (owner, role) not in known
        )
        if turned:
            spread = math.hypot(CHIP_DIODE_VOLTS, law)
            found[owner, "chip diodes"] = Knob(owner, "chip diodes", 0.0, spread, "0.4 to 0.7 V in diode mode", turned)
    return found


def laws_of(network: Network) -> list[tuple[str, Knob]]:
    """Return the laws of all parts whose errors count, each with a knob that is as uncertain as measured."""
    laws = model_error().laws
    knobs = [*network.knobs.values(), *saturation_knobs(network, 0.0).values()]
    found = [(SATURATION if knob.name == SATURATION else law_of(knob), knob) for knob in knobs]
    return [(law, replace(knob, spread=laws[law])) for law, knob in found if law is not None]
