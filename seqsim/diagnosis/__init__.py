"""From readings to ranked faults: predictions, likelihood, look-alikes, none of these."""

from seqsim.diagnosis.advice import advise, standing_after
from seqsim.diagnosis.conditions import Desk, desk
from seqsim.diagnosis.foresight import Standing
from seqsim.diagnosis.next_result import Advice, Outcome, Step
from seqsim.diagnosis.rank import Diagnosis, diagnose, rank
from seqsim.diagnosis.report import ranking
from seqsim.diagnosis.result import Explained, Judged, Predicted, Ranking, ReadAgain, Where
from seqsim.diagnosis.verified import Verification
from seqsim.diagnosis.verify import verify

__all__ = [
    "Advice",
    "Desk",
    "Diagnosis",
    "Explained",
    "Judged",
    "Outcome",
    "Predicted",
    "Ranking",
    "ReadAgain",
    "Standing",
    "Step",
    "Verification",
    "Where",
    "advise",
    "desk",
    "diagnose",
    "rank",
    "ranking",
    "standing_after",
    "verify",
]
