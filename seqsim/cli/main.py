"""The program: its commands, and how it says what was wrong."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated, NoReturn

import typer

from seqsim.cli.answer import BAD_INPUT, DONE, Answer, be_heard, be_printable, complain, deliver
from seqsim.cli.check import check
from seqsim.cli.draw import draw
from seqsim.cli.faults import faults
from seqsim.cli.import_ import import_
from seqsim.cli.levels import levels
from seqsim.cli.library import list_
from seqsim.cli.logic import logic
from seqsim.cli.next import next_
from seqsim.cli.notes import PAGE, notes
from seqsim.cli.powerup import powerup
from seqsim.cli.rank import rank
from seqsim.cli.spice import spice
from seqsim.cli.verify import verify
from seqsim.cli.why import why
from seqsim.errors import SeqsimError

INTERRUPTED = 130

app = typer.Typer(
    name="seqsim",
    help="Finds the fault of a board that does not come up.",
    epilog="Exit codes: 0 done, 1 a check found something, 2 bad input (one sentence on standard error tells what).",
    add_completion=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("check")(check)
app.command("list")(list_)
app.command("levels")(levels)
app.command("powerup")(powerup)
app.command("faults")(faults)
app.command("why")(why)
app.command("logic")(logic)
app.command("rank")(rank)
app.command("next")(next_)
app.command("verify")(verify)
app.command("notes", epilog=PAGE)(notes)
app.command("draw")(draw)
app.command("spice")(spice)
app.command("import")(import_)


@app.callback(invoke_without_command=True)
def _root(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> Answer | None:
    if version:
        from seqsim import __version__

        deliver(Answer(f"seqsim {__version__}"))
        raise typer.Exit(DONE)
    if context.invoked_subcommand is None:
        deliver(Answer(context.get_help()))
        raise typer.Exit(DONE)
    return None


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the program and leave with its exit code."""
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the program on a list of arguments, those of the process by default, and return the exit code."""
    be_printable()
    be_heard()
    try:
        outcome = app(args=None if arguments is None else list(arguments), prog_name="seqsim", standalone_mode=False)
    except typer.TyperException as error:
        complain(_usage(error))
        return BAD_INPUT
    except SeqsimError as error:
        complain(str(error))
        return BAD_INPUT
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    if isinstance(outcome, Answer):
        return deliver(outcome)
    return outcome if isinstance(outcome, int) else DONE


def _usage(error: typer.TyperException) -> str:
    """Return what is wrong with the options and arguments as one sentence with a way out."""
    context = getattr(error, "ctx", None)
    program = context.command_path if context is not None else "seqsim"
    option = getattr(error, "option_name", None)
    close = getattr(error, "possibilities", None) or ()
    if option is not None and hasattr(error, "possibilities"):
        problem = f"there is no option {option}"
    else:
        problem = error.format_message().strip().rstrip(".").replace(". Did", "; did").replace(". ", "; ")
        problem = problem[:1].lower() + problem[1:]
    if close:
        return f"{problem}; did you mean {' or '.join(sorted(close))}?"
    return problem if problem.endswith("?") else f"{problem}; `{program} --help` shows what can be given"
