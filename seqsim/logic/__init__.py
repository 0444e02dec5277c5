"""Why a node is at its level, and the node as a function of supplies, signals and switches."""

from seqsim.logic.explanation import Explanation, explain
from seqsim.logic.function import Function, LogicFunction, logic
from seqsim.logic.measured import Comparison, explain_readings
from seqsim.logic.reference import Reference
from seqsim.logic.situation import Situation, situation

__all__ = [
    "Comparison",
    "Explanation",
    "Function",
    "LogicFunction",
    "Reference",
    "Situation",
    "explain",
    "explain_readings",
    "logic",
    "situation",
]
