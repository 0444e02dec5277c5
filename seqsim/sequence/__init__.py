"""The order of the rails over time: when each came up, the first missing one and what it waits for, rules."""

from seqsim.sequence.result import PowerUp
from seqsim.sequence.run import power_up, reached
from seqsim.sequence.timetable import Timetable, seconds_of, timetable

__all__ = ["PowerUp", "Timetable", "power_up", "reached", "seconds_of", "timetable"]
