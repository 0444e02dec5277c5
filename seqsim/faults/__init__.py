"""Which faults a circuit can have, how likely each is, and the patches that make it so."""

from seqsim.faults.anything import something_at
from seqsim.faults.cautions import Caution, Topic, off_caution, probe_cautions, repair_cautions
from seqsim.faults.fault import Fault, Kind, PlaceHypothesis, SubMode
from seqsim.faults.history import Factors, History, Remark, history_of
from seqsim.faults.names import fault_text, find_fault
from seqsim.faults.severity import EvenSeverity, middle, one_at_a_time
from seqsim.faults.single import every_fault, single_faults, tilts_told

__all__ = [
    "Caution",
    "EvenSeverity",
    "Factors",
    "Fault",
    "History",
    "Kind",
    "PlaceHypothesis",
    "Remark",
    "SubMode",
    "Topic",
    "every_fault",
    "fault_text",
    "find_fault",
    "history_of",
    "middle",
    "off_caution",
    "one_at_a_time",
    "probe_cautions",
    "repair_cautions",
    "single_faults",
    "something_at",
    "tilts_told",
]
