"""The command line."""

from seqsim.cli.main import main

__all__ = ["main"]
