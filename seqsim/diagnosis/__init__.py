"""From readings to ranked faults: predictions, likelihood, look-alikes, none of these."""

from seqsim.diagnosis.rank import Diagnosis, diagnose, rank
from seqsim.diagnosis.result import Explained, Judged, Predicted, Ranking, ReadAgain, Where

__all__ = [
    "Diagnosis",
    "Explained",
    "Judged",
    "Predicted",
    "Ranking",
    "ReadAgain",
    "Where",
    "diagnose",
    "rank",
]
