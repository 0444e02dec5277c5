"""`python -m seqsim` is the command `seqsim`."""

from __future__ import annotations

from seqsim.cli import main

if __name__ == "__main__":
    main()
