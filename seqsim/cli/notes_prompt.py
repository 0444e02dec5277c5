"""Notes typed line by line at a terminal."""

from __future__ import annotations

from contextlib import suppress

from seqsim.circuit.notes_file import NotesFile
from seqsim.cli.answer import DONE, Answer, complain, deliver, say
from seqsim.errors import SeqsimError

HELP = "a fact, or: show, undo, drop LINE, rank, save, help, quit (which saves), abandon"


def converse(held: NotesFile) -> int:
    """Take lines until the end, and save what was taken."""
    with suppress(ImportError):
        import readline  # noqa: F401 - editing and history of lines, where the system has it
    say(f"{held.path}: {len(held.lines)} lines. {HELP}")
    while True:
        try:
            line = input("notes> ").strip()
        except (EOFError, KeyboardInterrupt):
            say("")
            line = "quit"
        word, _, rest = line.partition(" ")
        try:
            match word.casefold():
                case "":
                    continue
                case "quit" | "exit":
                    return _leave(held)
                case "abandon" if not rest:
                    say("left as it was" if held.changed else "nothing was changed")
                    return DONE
                case "help" | "?":
                    from seqsim.cli.notes import PAGE

                    say(PAGE.replace("\b\n", "") + "\n" + HELP)
                case "show" if not rest:
                    _show(held)
                case "undo" if not rest:
                    held = held.undo()
                    say(f"{len(held.lines)} lines")
                case "drop" if rest.isdecimal():
                    held = held.drop(int(rest))
                    say(f"{len(held.lines)} lines")
                case "save" if not rest:
                    held = held.save()
                    say(f"saved {len(held.lines)} lines")
                case "rank" if not rest:
                    _rank(held)
                case _:
                    held = held.add(line)
                    _next(held)
        except SeqsimError as error:
            complain(str(error))


def _leave(held: NotesFile) -> int:
    if held.changed:
        try:
            held = held.save()
        except SeqsimError as error:
            complain(str(error))
            return 2
        say(f"saved {len(held.lines)} lines in {held.path}")
    return DONE


def _show(held: NotesFile) -> None:
    from seqsim.results.notes import notes_view

    deliver(Answer(notes_view(held)))


def _rank(held: NotesFile) -> None:
    from seqsim.board import Board

    deliver(Answer(Board(str(held.path), held.circuit()).rank()))


def _next(held: NotesFile) -> None:
    """Say what the new line leaves open, in one line."""
    from seqsim.results.notes import notes_view

    if held.errors:
        waiting = held.errors[0]
        say(f"line {len(held.lines)} taken; still open: {waiting.message}")
        return
    view = notes_view(held)
    for error in view.errors:
        complain(str(error))
    advice = f"; next: {view.trace[0].action}" if view.trace else ""
    say(f"line {len(held.lines)} taken{advice}")
