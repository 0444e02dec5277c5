"""What to try when mode-Newton goes round in circles: a line search on the residual, then source stepping."""

from __future__ import annotations

import numpy as np

from seqsim.network.network import Bools, Floats
from seqsim.solver.plain import linear, modes
from seqsim.solver.state import State
from seqsim.solver.system import LEAK, System

SEARCH_STEPS = 40
HALVINGS = 12


def line_search(system: System, gates: Bools, allowed: Bools, start: State) -> tuple[Floats, Bools] | None:
    """Return volts and conducting hinges found by Newton steps that are shortened until the residual falls.

    The residual of each node is weighed in volts (divided by the node's own conductance), or one stiff supply
    would decide alone.
    """
    conducting = start.conducting & allowed & system.clamped
    volts = linear(system, gates, State(conducting, start.above, start.ratios))
    base = _conductance(system, allowed, start)
    for _ in range(SEARCH_STEPS):
        across = system.across(volts)
        conducting = _sign_modes(system, allowed, across)
        active = np.where(~system.clamped | conducting, base, 0.0)
        matrix = system.matrix(active)
        left = _left_over(system, base, across, volts)
        step = np.linalg.solve(matrix, -left)
        target = volts.copy()
        target[:-1] += step
        wanted = _sign_modes(system, allowed, system.across(target))
        if np.array_equal(wanted, conducting):
            exact = linear(system, gates, State(conducting, start.above, start.ratios))
            if np.array_equal(modes(system, allowed, conducting, system.across(exact)), conducting):
                return exact, conducting
        weight = 1 / np.abs(np.diag(matrix))
        merit = float(np.sum((left * weight) ** 2))
        best, best_merit = None, merit
        share = 1.0
        for _ in range(HALVINGS):
            trial = volts.copy()
            trial[:-1] += share * step
            value = float(np.sum((_left_over(system, base, system.across(trial), trial) * weight) ** 2))
            if value < best_merit:
                best, best_merit = trial, value
                break
            share /= 2
        if best is None:
            return None
        volts = best
    return None


def source_stepping(system: System, gates: Bools, allowed: Bools, start: State) -> tuple[Floats, Bools] | None:
    """Return volts and conducting hinges by following the solution from a solved problem to the real one.

    At the start the sources stand where all volts are those of the start modes; they are led to their true
    values, one hinge flipping at a time, and run backwards wherever the Jacobian's determinant changes its sign
    (Katzenelson's method with the sign rule of Chien and Kuh, IEEE Trans. Circuits and Systems CAS-23 (1976),
    from memory).
    """
    base = _conductance(system, allowed, start)
    for origin in (np.zeros(system.nodes + 1), linear(system, gates, start)):
        found = _follow(system, gates, allowed, start, base, origin)
        if found is not None:
            return found
    return None


def _follow(
    system: System, gates: Bools, allowed: Bools, start: State, base: Floats, origin: Floats
) -> tuple[Floats, Bools] | None:
    volts = origin.copy()
    across = system.across(volts)
    conducting = _sign_modes(system, allowed, across)
    missing = _left_over(system, base, across, volts)
    done, direction, last_sign = 0.0, 1.0, 0.0
    for _ in range(6 * len(base) + 200):
        matrix = system.matrix(np.where(~system.clamped | conducting, base, 0.0))
        sign = float(np.linalg.slogdet(matrix)[0])
        if sign == 0.0:
            return None
        if last_sign and sign != last_sign:
            direction = -direction
        last_sign = sign
        slope = np.zeros_like(volts)
        slope[:-1] = -direction * np.linalg.solve(matrix, missing)
        rate = (system.sense_weight * slope[system.sense_at]).sum(axis=1)
        across = system.across(volts)
        heading = allowed & system.clamped & np.where(conducting, rate < -1e-15, rate > 1e-15)
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = np.where(heading, np.maximum(-across / rate, 0.0), np.inf)
        nearest = int(np.argmin(distance))
        length = float(distance[nearest])
        ahead = (1.0 - done) if direction > 0 else np.inf
        if length >= ahead:
            exact = linear(system, gates, State(conducting, start.above, start.ratios))
            off = system.across(exact)
            wrong = allowed & system.clamped & (np.where(conducting, off < -1e-6, off > 1e-6))
            return None if wrong.any() else (exact, conducting)
        if not np.isfinite(length):
            return None
        volts = volts + slope * length
        done += direction * length
        conducting = conducting.copy()
        conducting[nearest] = not conducting[nearest]
    return None


def _conductance(system: System, allowed: Bools, state: State) -> Floats:
    """Conductance of every hinge as it would conduct, ratios applied, zero where its gate is off."""
    base = np.where(allowed, system.conductance, 0.0)
    for k, hinge in enumerate(system.variant.ratio_at):
        base[hinge] *= state.ratios[k]
    return base


def _sign_modes(system: System, allowed: Bools, across: Floats) -> Bools:
    return np.asarray(allowed & system.clamped & (across > 0))


def _left_over(system: System, base: Floats, across: Floats, volts: Floats) -> Floats:
    """Return the residual currents (n,) at the true law of every hinge."""
    flowing = base * np.where(system.clamped, np.maximum(across, 0.0), across)
    full = np.zeros(system.nodes + 1)
    np.add.at(full, system.inject_at, system.inject_weight * flowing[:, None])
    return np.asarray(full[:-1] + LEAK * volts[:-1])
