"""Readings: what a meter does to a board and shows, and how people write it down."""

from seqsim.readings.files import Readings, read_readings
from seqsim.readings.interventions import Intervention, parse_intervention
from seqsim.readings.kinds import KINDS, Kind, Site
from seqsim.readings.measurement import Measurement, measurement
from seqsim.readings.meter import METER, Accuracy, Meter, parse_accuracy
from seqsim.readings.outcome import Condition, Number, Outcome, Zone
from seqsim.readings.over_time import Seen
from seqsim.readings.reading import Probe, Reading
from seqsim.readings.shorthand import format_reading, parse_reading, split_shorthand

__all__ = [
    "KINDS",
    "METER",
    "Accuracy",
    "Condition",
    "Intervention",
    "Kind",
    "Measurement",
    "Meter",
    "Number",
    "Outcome",
    "Probe",
    "Reading",
    "Readings",
    "Seen",
    "Site",
    "Zone",
    "format_reading",
    "measurement",
    "parse_accuracy",
    "parse_intervention",
    "parse_reading",
    "read_readings",
    "split_shorthand",
]
