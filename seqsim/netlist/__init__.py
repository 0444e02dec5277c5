"""Circuits from SPICE netlists: what the open format says, turned into a circuit file line by line."""

from seqsim.netlist.convert import Imported, import_netlist, import_text
from seqsim.netlist.problems import NetlistErrors

__all__ = ["Imported", "NetlistErrors", "import_netlist", "import_text"]
