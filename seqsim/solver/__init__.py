"""Numbers only: steady levels, their sensitivities, and many variants at once."""

from seqsim.solver.plain import currents, residual, solve, solve_variant, static_gates, thevenin_ohms
from seqsim.solver.state import FLOATING_OHMS, Levels, State, Steadiness, Way
from seqsim.solver.system import System, flatten

__all__ = [
    "FLOATING_OHMS",
    "Levels",
    "State",
    "Steadiness",
    "System",
    "Way",
    "currents",
    "flatten",
    "residual",
    "solve",
    "solve_variant",
    "static_gates",
    "thevenin_ohms",
]
