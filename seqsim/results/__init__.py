"""What the calls of a board return: frozen data with documented fields, which print well."""

from seqsim.results.catalogue import CircuitList, KindList, list_circuits, list_kinds
from seqsim.results.checked import Checked, check_board, check_file
from seqsim.results.fault_list import FaultList
from seqsim.results.level_map import LevelMap, NodeLevel, level_map

__all__ = [
    "Checked",
    "CircuitList",
    "FaultList",
    "KindList",
    "LevelMap",
    "NodeLevel",
    "check_board",
    "check_file",
    "level_map",
    "list_circuits",
    "list_kinds",
]
