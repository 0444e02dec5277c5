"""The same board in SPICE, run and compared; optional, and needed by nothing else."""

from seqsim.spice.result import Node, SpicePass, spice_deck, spice_pass

__all__ = ["Node", "SpicePass", "spice_deck", "spice_pass"]
