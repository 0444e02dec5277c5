"""Words and tables for people, made from the documented fields of results and from nothing else."""

from seqsim.wording.result import PERCENTILE_95, SCHEMA, Result

__all__ = ["PERCENTILE_95", "SCHEMA", "Result"]
