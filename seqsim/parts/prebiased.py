"""Bipolar transistors with their base resistors inside."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar, Literal

from seqsim.network import Effect, Owned, Turned
from seqsim.parts.bipolar import Bipolar
from seqsim.parts.failing import gone
from seqsim.parts.part import JUDGED, Mode, Source, Standing, value
from seqsim.parts.wiring import Wiring
from seqsim.quantity import Unit

RESISTORS_SHARE = 0.1
"""Share of the failures that lies with the resistors (our judgement)."""

TYPES = {
    "10k-10k": {"base_ohms": 1e4, "base_emitter_ohms": 1e4},
    "4k7-4k7": {"base_ohms": 4.7e3, "base_emitter_ohms": 4.7e3},
    "4k7-47k": {"base_ohms": 4.7e3, "base_emitter_ohms": 4.7e4},
}
SOURCES = {
    "10k-10k": Source("DTC114E data sheet", Standing.SEEN),
    "4k7-4k7": Source("DTC143E data sheet", Standing.SEEN),
    "4k7-47k": Source("PDTC143Z data sheet", Standing.SEEN),
}


def _models(prefix: str) -> dict[str, dict[str, float]]:
    inside = {"gain": 150.0, "reverse_gain": 1.0, "saturation_amps": 1e-14, "amps": 0.1}
    return {f"{prefix}-{name}": inside | ohms for name, ohms in TYPES.items()}


class Prebiased(Bipolar):
    """What NPN and PNP transistors with built-in resistors share."""

    base_ohms: float = value(
        Unit.OHM, "resistor between the pin and the base", spread=0.17, least=10, most=1e6,
        source=Source("DTC114E data sheet: 7 to 13 kΩ", Standing.SEEN),
    )  # fmt: skip
    base_emitter_ohms: float | None = value(
        Unit.OHM, "resistor between base and emitter; none without it", None, spread=0.2, least=10, most=1e7,
        source=Source("DTC114E data sheet: ratio 0.8 to 1.2", Standing.SEEN),
    )  # fmt: skip

    def emit(self, net: Owned) -> None:
        """Add the resistors and the transistor behind them."""
        base = net.inner("base")
        net.conductance("base resistor", "B", base, 1 / (self.base_ohms + self.base_series_ohms))
        source = "DTC114E data sheet"
        net.knob("base ohms", 1.0, self.spread_of("base_ohms"), source, Turned("base resistor", Effect.SCALE, -1.0))
        if self.base_emitter_ohms is not None:
            net.conductance("base-emitter resistor", base, "E", 1 / self.base_emitter_ohms)
            net.knob(
                "base-emitter ohms", 1.0, self.spread_of("base_emitter_ohms"), source,
                Turned("base-emitter resistor", Effect.SCALE, -1.0),
            )  # fmt: skip
        self.junctions(net, base)

    def modes(self) -> tuple[Mode, ...]:
        """The modes of a transistor, and a base resistor that has gone open."""
        inside = [replace(mode, share=mode.share * (1 - RESISTORS_SHARE)) for mode in super().modes()]
        check = (
            f"measure {self.pin('B')} to {self.pin('E')} with power off in both directions: "
            f"a good part shows its resistors"
        )
        return (*inside, gone(self, "base resistor open", RESISTORS_SHARE, JUDGED, check, ("base resistor",)))

    def cards(self, tag: str, node: Wiring) -> tuple[str, ...]:
        """R cards, a Q card and its model."""
        base, emitter = f"b{tag}", node["E"]
        lines = []
        if node.works("base resistor"):
            lines.append(f"R{tag}a {node['B']} {base} {self.base_ohms * node.knob('base ohms')!r}")
        if self.base_emitter_ohms is not None:
            lines.append(f"R{tag}b {base} {emitter} {self.base_emitter_ohms * node.knob('base-emitter ohms')!r}")
        model = self.card_model(f"m{tag}", node, self.base_series_ohms)
        return (*lines, f"Q{tag} {node['C']} {base} {emitter} m{tag}", model)


class NpnPrebiased(Prebiased):
    """An NPN transistor with built-in resistors."""

    title: ClassVar = "prebiased NPN transistor"
    symbol: ClassVar = "BjtNpn"
    sign: ClassVar = 1
    default_model: ClassVar = "npn-10k-10k"
    models: ClassVar = _models("npn")
    model_sources: ClassVar = {f"npn-{name}": source for name, source in SOURCES.items()}
    kind: Literal["npn_prebiased"] = "npn_prebiased"


class PnpPrebiased(Prebiased):
    """A PNP transistor with built-in resistors."""

    title: ClassVar = "prebiased PNP transistor"
    symbol: ClassVar = "BjtPnp"
    sign: ClassVar = -1
    default_model: ClassVar = "pnp-10k-10k"
    models: ClassVar = _models("pnp")
    model_sources: ClassVar = {f"pnp-{name}": source for name, source in SOURCES.items()}
    kind: Literal["pnp_prebiased"] = "pnp_prebiased"
