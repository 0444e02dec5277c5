"""Why a node is at its level, and the node as a function of supplies, signals and switches.

Readings beside the chain are in `seqsim.logic.measured`, which only who has readings imports.
"""

from seqsim.logic.explanation import Explanation, explain
from seqsim.logic.function import Function, LogicFunction, logic
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Situation, situation

__all__ = [
    "Explanation",
    "Function",
    "LogicFunction",
    "Reference",
    "Situation",
    "explain",
    "logic",
    "situation",
]
