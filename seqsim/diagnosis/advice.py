"""The next reading: what tells most about where the fault is, for each second of the technician's time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from seqsim.circuit import OFF, Circuit
from seqsim.diagnosis.alike import own_deviation
from seqsim.diagnosis.conditions import Desk
from seqsim.diagnosis.foresight import Foresight, Standing, Ways, foresee, glance, ways
from seqsim.diagnosis.handling import forced_target, lifted_pins, limits_first, pressed_joints
from seqsim.diagnosis.hypotheses import Hypothesis, Sort
from seqsim.diagnosis.information import Outlook, Span, outlook, spans
from seqsim.diagnosis.likelihood import SLIP
from seqsim.diagnosis.next_result import Advice, Outcome, Step
from seqsim.diagnosis.offers import Offer, Reach, again, limited, offers, state_seconds
from seqsim.diagnosis.pillars import likely_slips, unproven
from seqsim.diagnosis.proof import example, shown
from seqsim.diagnosis.rank import diagnose
from seqsim.diagnosis.report import confirm_and_repair
from seqsim.faults import probe_cautions
from seqsim.network.network import Floats, Ints
from seqsim.parts.supply import Supply
from seqsim.readings import METER, Meter, Probe, Reading, Readings, measurement
from seqsim.readings.interventions import Limited
from seqsim.readings.measurement import Measurement

HELD = 0.95
"""Probability from which the leading group is taken for the answer."""
LEAST_BITS = 0.02
"""A reading that tells less is not worth its time."""
HARDLY = 0.25
"""Below this (bits) plain readings tell so little that diode tests are tried everywhere, and pins lifted."""
STEPS = 5
"""Readings that are advised."""
SHORTLIST, BY_BITS = 18, 6
"""Readings that are worked out in full: the best by bits a second, and the best by bits."""
SAME_TIP_VOLTS = 1e-3
"""Readings whose predictions differ by less are one; the quickest is kept."""
SAME_SHARE = 0.05
"""Two readings of a kind that differ with a smaller chance than this are one; the better is kept."""
NAMED, NAMED_FROM = 3, 0.1
"""Groups that an outcome points to are named: no more than so many, each with at least this share."""
NEAR, NEAR_SHARE = 3.0, 0.05
"""A board may read so many standard deviations of meter and model, and a share for what parts differ, beside what is
predicted for it: so near a healthy board an outcome is as on one, so far beyond what any board shows none is told."""
STILL = 0.01
"""A look-alike is left while it has this share of the probability of the likeliest: a reading with a part lifted, say,
tells apart what those on offer do not."""
LEAST_OUTCOME = 0.01
"""Outcomes less likely than this are not told."""
SIGNAL_OHMS = 10.0
"""A supply behind less than this (Ω) feeds the board, one behind more is a signal: our judgement."""


@dataclass(frozen=True)
class Classes:
    """What is told apart: look-alike groups with something at their own places, and places that belong to none.

    ``of`` (h,) is the class of each hypothesis; ``names`` are those of the leading members, ``members`` the
    names of all that are still in the running.
    """

    of: Ints
    names: tuple[str, ...]
    members: tuple[tuple[str, ...], ...]
    probability: Floats


@dataclass(frozen=True)
class Promise:
    """A reading on offer, the ``column``-th of those that were foreseen, with what it may show, and tells (bits)."""

    offer: Offer
    measurement: Measurement
    seen: Foresight
    column: int
    look: Outlook
    healthy: float
    """tip volts on a healthy board"""

    @property
    def bits(self) -> float:
        """Return what it tells (bits)."""
        return self.look.bits

    @property
    def rate(self) -> float:
        """Return what it tells in a second (bit/s)."""
        return self.bits / self.offer.seconds


def classes(standing: Standing) -> Classes:
    """Return the classes of a standing, as `where` of a ranking counts them."""
    p, hypotheses = standing.probability, standing.hypotheses
    grouped: dict[int, list[int]] = {}
    for k, h in enumerate(hypotheses):
        if h.sort is not Sort.PLACE:
            grouped.setdefault(standing.alike.group[h.name], []).append(k)
    ordered = sorted(grouped.values(), key=lambda members: -float(p[members].sum()))
    of = np.full(len(hypotheses), -1, dtype=np.int64)
    owner: dict[str, int] = {}
    for number, members in enumerate(ordered):
        of[members] = number
        chance = float(p[members].sum())
        for k in members:
            if p[k] > 0.01 * chance:
                for place in hypotheses[k].places:
                    owner.setdefault(place, number)
    count = len(ordered)
    for k, h in enumerate(hypotheses):
        if h.sort is Sort.PLACE:
            if h.place not in owner:
                owner[h.place] = count
                count += 1
            of[k] = owner[h.place]
    inside: list[list[int]] = [[] for _ in range(count)]
    for k in np.argsort(-p, kind="stable"):
        inside[of[k]].append(int(k))
    everyone = tuple(tuple(hypotheses[k].name or "healthy" for k in members) for members in inside)
    alike = tuple(
        (
            names[0],
            *(
                n
                for n, k in zip(names, members, strict=True)
                if hypotheses[k].sort is not Sort.PLACE and k != members[0] and p[k] > STILL * p[members[0]]
            ),
        )
        for names, members in zip(everyone, inside, strict=True)
    )
    return Classes(of, tuple(names[0] for names in everyone), alike, _summed(of, p, count))


def standing_after(circuit: Circuit, readings: Readings, at: Desk | None = None) -> Standing:
    """Return the standing after readings at rest, weighed by what was seen over time; ``at`` as in `diagnose`."""
    found = diagnose(circuit, readings, at=at)
    if readings.seen:
        from seqsim.diagnosis.over_time import watch, weighed
        from seqsim.sequence.seen import Witness

        found = weighed(found, watch(found, Witness.of(circuit, readings.seen)))
    return Standing.of(found, readings.readings)


def _summed(of: Ints, probability: Floats, count: int) -> Floats:
    total = np.zeros(count)
    np.add.at(total, of, probability)
    return total


def advise(standing: Standing, meter: Meter = METER, steps: int = STEPS) -> Advice:
    """Return the best next readings, or why none is needed or none helps.

    Parameters
    ----------
    standing
        What is known: after readings, or before any.
    meter
        The meter of the readings to come.
    steps
        How many readings are advised at most.
    """
    told = classes(standing)
    best = int(np.argmax(told.probability)) if len(told.names) else 0
    held = bool(told.probability[best] >= HELD)
    limits = limits_first(standing, meter)
    found = _helping(standing, told, meter, limits, held=held)
    if not found and standing.found is not None:
        twice = unproven(standing.found, standing.readings, told.of, best)
        found = _ranked(standing, told, _again(standing, twice), meter, least=0.0)
    found = found[:steps]
    stop = "" if found else "found" if held else "nothing_helps"
    return _result(standing, told, [_step(standing, told, each) for each in found], stop, limits)


def _helping(
    standing: Standing, told: Classes, meter: Meter, limits: Sequence[Limited], *, held: bool
) -> list[Promise]:
    """Return the readings that help, the best first; with power on, supplies come before all else.

    Where the answer is ``held``, only those again that likely are slips help, and supplies: with power on, whatever
    they tell, and without, where they may still upset it, unless one would have to be limited. An answer that is no
    known fault, only something at a place, waits for them too: next to anything would fit it.
    """
    chosen = [] if standing.found is None else _again(standing, likely_slips(standing.found, standing.readings))
    first = {} if held else {Probe(kind="ohms", place=net, state=OFF): "" for net in unchecked(standing)}
    if first:
        return _ranked(standing, told, [*chosen, *_again(standing, first)], meter, least=0.0)  # whatever it tells
    chosen += [] if held else _offers(standing, limits)
    found = _ranked(standing, told, chosen, meter)
    if standing.readings and not held and max((each.bits for each in found), default=0.0) < HARDLY:
        known = {each.probe for each in chosen}
        more = [each for each in _offers(standing, limits, hard=True) if each.probe not in known]
        found += _ranked(standing, told, more, meter)
        found.sort(key=lambda each: -each.rate)
    off = standing.state() == OFF
    if off and (found[0].offer.probe.state == OFF if found else held and limits):
        return found
    supplies = {limited(standing.circuit, probe, limits): "" for probe in unmeasured(standing)}
    lead = _lead(standing, told)
    least = LEAST_BITS if held and off and lead is not None and lead.sort is not Sort.PLACE else 0.0
    up = _ranked(standing, told, _again(standing, supplies), meter, least)
    return [*up, *(each for each in found if each.offer.probe not in supplies)]


def _lead(standing: Standing, told: Classes) -> Hypothesis | None:
    """Return what is likeliest in the likeliest class."""
    best = told.names[int(np.argsort(-told.probability, kind="stable")[0])]
    return next((h for h in standing.hypotheses if (h.name or "healthy") == best), None)


def _again(standing: Standing, reasons: Mapping[Probe, str]) -> list[Offer]:
    """Return the offers of readings that are wanted for a reason."""
    return [again(standing.circuit, probe, standing.state(), why) for probe, why in reasons.items()]


def unchecked(standing: Standing) -> list[str]:
    """Return the nets of supplies whose resistance should be known before power goes on."""
    if any(reading.state != OFF for reading in standing.readings):
        return []
    known = {reading.place for reading in standing.readings if reading.kind == "ohms"}
    nets = dict.fromkeys(supply.net for supply in _feeding(standing.circuit))
    return [net for net in nets if net not in known]


def unmeasured(standing: Standing) -> list[Probe]:
    """Return the supplies' nets whose volts were read in no power state that applies them, each in the nearest one.

    A place on the net that is up proves it as well; one that is not may be cut off.
    """
    circuit, now, reach = standing.circuit, standing.state(), Reach.of(standing.circuit)
    net_of = circuit.pins()
    found: dict[str, Probe] = {}
    for supply in _feeding(circuit):
        states = [name for name, power in circuit.power_states.items() if supply.name in power.on]
        proven = any(
            reading.kind == "volts" and reading.state in states and reading.to in (None, *circuit.grounds)
            and (reading.place == supply.net or _is_up(reading, supply, net_of))
            for reading in standing.readings
        )  # fmt: skip
        if states and not proven and supply.net in reach:
            state = min(states, key=lambda then: state_seconds(circuit, now, then))
            found.setdefault(supply.net, Probe(kind="volts", place=supply.net, state=state))
    return list(found.values())


def _is_up(reading: Reading, supply: Supply, net_of: Mapping[str, str]) -> bool:
    """Tell whether a pin or pad on a supply's net shows more than half of what it gives."""
    on_it = net_of.get(reading.place.removesuffix("/pad")) == supply.net
    return on_it and isinstance(reading.value, float) and abs(reading.value) > abs(supply.volts) / 2


def _feeding(circuit: Circuit) -> list[Supply]:
    """Return the supplies that feed the board; one behind more than 10 Ω is a signal, unless it makes a rail."""
    return [each for each in circuit.supplies.values() if each.net in circuit.rails or each.ohms < SIGNAL_OHMS]


def _offers(standing: Standing, limits: Sequence[Limited], *, hard: bool = False) -> list[Offer]:
    circuit, now = standing.circuit, standing.state()
    near: dict[str, None] = {}
    if standing.readings:
        for h in standing.leaders():
            near |= dict.fromkeys(sorted(standing.hypotheses[h].places))
    forced, driven = forced_target(standing)
    return list(offers(
        circuit, now=now, taken=[reading.probe() for reading in standing.readings], near=near,
        forced=forced, driven=driven, limits=limits, pressed=pressed_joints(standing),
        lifted=lifted_pins(standing) if hard else (), diodes=hard,
    ))  # fmt: skip


def _ranked(
    standing: Standing, told: Classes, chosen: Sequence[Offer], meter: Meter, least: float = LEAST_BITS
) -> list[Promise]:
    """Return the readings that tell at least so much (bits), worked out in full for the most promising."""
    if not chosen:
        return []
    offered = [measurement(standing.circuit, each.probe, meter) for each in chosen]
    seen = ways(standing, offered)
    if not seen.weight.any():
        return []
    rough = glance(standing, seen, offered)
    short = _shortlist(standing, told, chosen, rough, seen, least)
    if not len(short):
        return []
    exact = foresee(standing, seen, offered, short)
    looks = _outlooks(told, exact)
    kept = [at for at in _different([chosen[k] for k in short], exact, looks) if looks[at].bits >= least]
    return [
        Promise(chosen[k], offered[k], exact, at, looks[at], seen.healthy(len(standing.measurements) + k))
        for at, k in ((at, int(short[at])) for at in kept)
    ]


def _different(chosen: Sequence[Offer], seen: Foresight, looks: Sequence[Outlook]) -> list[int]:
    """Return the readings without those that would nearly always show the same as a better one of their kind."""
    kept: list[int] = []
    for k in sorted(range(len(chosen)), key=lambda k: -looks[k].bits / chosen[k].seconds):
        if all(not _same(chosen[j], chosen[k]) or _apart(seen, j, k) > SAME_SHARE for j in kept):
            kept.append(k)
    return kept


def _same(one: Offer, other: Offer) -> bool:
    a, b = one.probe, other.probe
    return (a.kind, a.state, a.interventions) == (b.kind, b.state, b.interventions)


def _apart(seen: Foresight, j: int, k: int) -> float:
    """Return the chance that two readings differ by more than their spread."""
    wide = np.maximum(seen.deviation[:, j], seen.deviation[:, k])
    return float(seen.weight[np.abs(seen.mean[:, j] - seen.mean[:, k]) > wide].sum())


def _outlooks(told: Classes, seen: Foresight) -> list[Outlook]:
    group = told.of[seen.of]
    return [
        outlook(seen.weight, group, seen.mean[:, k], seen.deviation[:, k], groups=len(told.names), slip=SLIP)
        for k in range(seen.mean.shape[1])
    ]


def _shortlist(
    standing: Standing, told: Classes, chosen: Sequence[Offer], rough: Foresight, seen: Ways, least: float
) -> Ints:
    """Return the numbers of the most promising readings; of those that read the same, the quickest."""
    alike: dict[bytes, int] = {}
    taken = len(standing.measurements)
    tips = np.round(seen.predictions.tips[:, taken:] / SAME_TIP_VOLTS).astype(np.int64)
    used = seen.weight > 0
    for k, offer in enumerate(chosen):
        key = f"{offer.probe.kind} {offer.probe.state} ".encode() + tips[used, k].tobytes()
        if key not in alike or offer.seconds < chosen[alike[key]].seconds:
            alike[key] = k
    kept = np.array(sorted(alike.values()), dtype=np.int64)
    of_kept = {name: getattr(rough, name)[..., kept] for name in ("mean", "deviation", "least", "most")}
    only = replace(rough, **of_kept)
    bits = np.array([look.bits for look in _outlooks(told, only)])
    rate = bits / np.array([chosen[k].seconds for k in kept])
    best = [*np.argsort(-rate, kind="stable")[:SHORTLIST], *np.argsort(-bits, kind="stable")[:BY_BITS]]
    return np.asarray(kept[list(dict.fromkeys(int(k) for k in best if bits[k] >= least / 2))], dtype=np.int64)


def _step(standing: Standing, told: Classes, found: Promise) -> Step:
    each, ranges = found.measurement, spans(found.look)
    least, most = float(found.seen.least[found.column]), float(found.seen.most[found.column])
    near, below, above = (_near(each, tip) for tip in (found.healthy, least, most))
    outcomes = tuple(
        Outcome(
            shown(each, max(span.low, least - below)),
            shown(each, min(span.high, most + above)),
            span.probability,
            span.start <= found.healthy < span.end and span.low - near <= found.healthy <= span.high + near,
            _points_to(standing, told, found, span),
        )
        for span in ranges
        if span.probability > LEAST_OUTCOME
    )
    probe, offer = found.offer.probe, found.offer
    likely = max(ranges, key=lambda span: span.probability)
    return Step(
        probe.place, probe.to, probe.kind, probe.state, tuple(str(done) for done in probe.interventions), found.bits,
        offer.seconds, each.caution, each.unit.value, outcomes, offer.at, offer.note,
        example(probe, each, (likely.low + likely.high) / 2), offer.again,
    )  # fmt: skip


def _near(each: Measurement, tip: float) -> float:
    """Return how far from predicted tip volts a board of the same kind may read."""
    return NEAR * float(own_deviation(each, np.array([tip]))[0]) + NEAR_SHARE * abs(tip)


def _points_to(standing: Standing, told: Classes, found: Promise, span: Span) -> tuple[str, ...]:
    """Return what an outcome points to: of the likeliest classes there, what is likeliest in each."""
    mass = np.zeros(len(standing.hypotheses))
    np.add.at(mass, found.seen.of, found.seen.within(found.column, span.start, span.end))
    order = np.argsort(-span.share, kind="stable")[:NAMED]
    likeliest = [int(np.argmax(np.where(told.of == g, mass, -1.0))) for g in order if span.share[g] >= NAMED_FROM]
    return tuple(standing.hypotheses[h].name or "healthy" for h in likeliest)


def _result(
    standing: Standing, told: Classes, found: Sequence[Step], stop: str, limits: Sequence[Limited] = ()
) -> Advice:
    circuit = standing.circuit
    order = np.argsort(-told.probability, kind="stable")[:3]
    best, lead = int(order[0]), _lead(standing, told)
    if stop == "found" and len(told.members[best]) > 1:
        stop = "look_alikes"
    return Advice(
        circuit=circuit.title or (circuit.file or ""),
        readings=len(standing.readings),
        state=standing.state(),
        stop=stop,
        leading=tuple((told.names[g], told.members[g], float(told.probability[g])) for g in order),
        none_of_these=standing.none,
        confirm="" if not stop or lead is None else confirm_and_repair(lead)[0],
        first=tuple(unchecked(standing)),
        supplies=() if stop else tuple(probe.place for probe in unmeasured(standing)),
        limit=tuple(str(each) for each in limits) if standing.state() == OFF else (),
        next=tuple(found),
        cautions=tuple(dict.fromkeys(each.text for each in probe_cautions(circuit))),
    )  # fmt: skip
