"""What to try when mode-Newton goes round in circles: one hinge at a time, a line search, then source stepping."""

from __future__ import annotations

import numpy as np

from seqsim.network.network import Bools, Floats
from seqsim.solver.plain import NEARLY, linear
from seqsim.solver.state import State, Way
from seqsim.solver.system import LEAK, System

SINGLE_STEPS = 150
SEARCH_STEPS = 40
HALVINGS = 12
LOOSE = 1e-6
"""Volts within which a hinge may be in either mode where source stepping ends."""
STILL = 1e-15
"""Volts for the whole way of the sources below which a hinge does not move."""

Found = tuple[Floats, Bools] | None


def fall_back(system: System, gates: Bools, allowed: Bools, start: State) -> tuple[Floats, Bools, Way]:
    """Return node volts, conducting hinges, and which fallback found them."""
    for search, way in (
        (one_at_a_time, Way.ONE_AT_A_TIME),
        (line_search, Way.LINE_SEARCH),
        (source_stepping, Way.SOURCE_STEPPING),
    ):
        try:
            found = search(system, gates, allowed, start)
        except np.linalg.LinAlgError:
            continue
        if found is not None:
            return *found, way
    return np.zeros(system.nodes + 1), start.conducting & allowed & system.clamped, Way.FAILED


def one_at_a_time(system: System, gates: Bools, allowed: Bools, start: State) -> Found:
    """Return volts and conducting hinges found by flipping, at each step, only the hinge that is most wrong."""
    conducting = start.conducting & allowed & system.clamped
    seen: set[bytes] = set()
    for _ in range(SINGLE_STEPS):
        volts = linear(system, gates, State(conducting, start.above, start.ratios))
        wrong = _wrong(system, allowed, conducting, system.across(volts))
        worst = int(np.argmax(wrong))
        if wrong[worst] <= NEARLY:
            return volts, conducting
        conducting = conducting.copy()
        conducting[worst] = not conducting[worst]
        key = conducting.tobytes()
        if key in seen:
            return None
        seen.add(key)
    return None


def line_search(system: System, gates: Bools, allowed: Bools, start: State) -> Found:
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
        target = linear(system, gates, State(conducting, start.above, start.ratios))
        if _wrong(system, allowed, conducting, system.across(target)).max(initial=0.0) <= NEARLY:
            return target, conducting
        weight = 1 / np.abs(np.diag(system.matrix(np.where(~system.clamped | conducting, base, 0.0))))
        merit = float(np.sum((_left_over(system, base, across, volts) * weight) ** 2))
        share = 1.0
        for _ in range(HALVINGS):
            trial = volts + share * (target - volts)
            if float(np.sum((_left_over(system, base, system.across(trial), trial) * weight) ** 2)) < merit:
                volts = trial
                break
            share /= 2
        else:
            return None
    return None


def source_stepping(system: System, gates: Bools, allowed: Bools, start: State) -> Found:
    """Return volts and conducting hinges by following the solution from a solved problem to the real one.

    At the start the sources stand where all volts are those of the start modes; they are led to their true
    values, one hinge flipping at a time, and run backwards wherever the Jacobian's determinant changes its sign
    (Katzenelson's method with the sign rule of Chien and Kuh, IEEE Trans. Circuits and Systems CAS-23 (1976),
    from memory).
    """
    held = State(start.conducting & allowed & system.clamped, start.above, start.ratios)
    for origin in (np.zeros(system.nodes + 1), linear(system, gates, held)):
        found = _follow(system, gates, allowed, start, origin)
        if found is not None:
            return found
    return None


def _follow(system: System, gates: Bools, allowed: Bools, start: State, origin: Floats) -> Found:
    base = _conductance(system, allowed, start)
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
        if last_sign not in (0.0, sign):
            direction = -direction
        last_sign = sign
        slope = np.zeros_like(volts)
        slope[:-1] = -direction * np.linalg.solve(matrix, missing)
        rate = (system.sense_weight * slope[system.sense_at]).sum(axis=1)
        across = system.across(volts)
        heading = allowed & system.clamped & np.where(conducting, rate < -STILL, rate > STILL)
        distance = np.full(len(base), np.inf)
        distance[heading] = np.maximum(-across[heading] / rate[heading], 0.0)
        nearest = int(np.argmin(distance))
        length = float(distance[nearest])
        if direction > 0 and length >= 1.0 - done:
            exact = linear(system, gates, State(conducting, start.above, start.ratios))
            wrong = _wrong(system, allowed, conducting, system.across(exact))
            return None if wrong.max(initial=0.0) > LOOSE else (exact, conducting)
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


def _wrong(system: System, allowed: Bools, conducting: Bools, across: Floats) -> Floats:
    """Return by how much (h,) each hinge is on the wrong side of its threshold; negative where it is not."""
    return np.where(allowed & system.clamped, np.where(conducting, -across, across), -np.inf)


def _left_over(system: System, base: Floats, across: Floats, volts: Floats) -> Floats:
    """Return the residual currents (n,) at the true law of every hinge."""
    flowing = base * np.where(system.clamped, np.maximum(across, 0.0), across)
    return np.asarray(system.drawn(flowing)[:-1] + LEAK * volts[:-1])
