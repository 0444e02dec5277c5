"""Words and tables for people, made from the documented fields of results and from nothing else."""

from seqsim.wording.result import SCHEMA, Result

__all__ = ["SCHEMA", "Result"]
