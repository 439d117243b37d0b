"""The command line: `harpkeys COMMAND …`.

Commands return their text and `main` prints it, so that a mistake prints nothing on standard output. Exit
codes: 0 whatever a command finds, 2 for a mistake or an unreadable file (one sentence on standard error), 130
when interrupted.

Only the module of the command that was asked for is imported, and that imports what it works with when it
runs: a vet of a short score takes less time than importing every command would.
"""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, redirect_stdout
from importlib import import_module
from typing import Annotated

import typer

from harpkeys.errors import HarpkeysError

COMMANDS = {
    "vet": "harpkeys.cli.vet",
    "mark": "harpkeys.cli.mark",
    "print": "harpkeys.cli.print_score",
    "sheet": "harpkeys.cli.sheet",
    "report": "harpkeys.cli.report",
    "compare": "harpkeys.cli.compare",
    "retune": "harpkeys.cli.retune",
    "transpose": "harpkeys.cli.transpose",
    "keys": "harpkeys.cli.keys",
    "tuning": "harpkeys.cli.tuning",
    "base": "harpkeys.cli.base",
    "programme": "harpkeys.cli.programme",
    "shelf": "harpkeys.cli.shelf",
}
"""The module of each command; its function `command` is the command, in the order of the help."""

MISTAKE = 2
INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Args:
        arguments: what stands after the program's name; those of this process where None.

    Returns:
        The exit code.
    """
    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        return _run(words)
    except KeyboardInterrupt:
        return INTERRUPTED


def _run(words: Sequence[str]) -> int:
    from harpkeys.cli.terminal import complain, show

    try:
        command = typer.main.get_command(_app(words))
        with _helped(words) as helped:
            result = command.main(args=list(words), prog_name="harpkeys", standalone_mode=False)
        show(result if isinstance(result, str) else helped.getvalue())
    except HarpkeysError as error:
        complain(error.sentence)
        return MISTAKE
    except typer.TyperException as error:
        complain(_usage_sentence(error.format_message(), words))
        return MISTAKE
    except typer.Abort:
        return INTERRUPTED
    except MemoryError:
        complain("there is not enough memory for this; split the score into parts.")
        return MISTAKE
    return result if isinstance(result, int) else 0  # an exit code is what --help and an interrupt end with


@contextmanager
def _helped(words: Sequence[str]) -> Iterator[io.StringIO]:
    """Where help is asked for, catch what typer prints, so that it goes the way of all other text."""
    helped = io.StringIO()
    if {"-h", "--help"}.isdisjoint(words):
        yield helped
        return
    with redirect_stdout(helped):
        yield helped


def _app(words: Sequence[str]) -> typer.Typer:
    """The application, with the command that is asked for or, where none is, with all."""
    app = typer.Typer(
        name="harpkeys",
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    asked = [words[0]] if words and words[0] in COMMANDS else list(COMMANDS)
    for name in asked:
        app.command(name)(import_module(COMMANDS[name]).command)
    app.callback(invoke_without_command=True, epilog="harpkeys COMMAND --help says more of a command.")(
        _overall
    )
    return app


def _overall(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and exit.")] = False,
) -> str:
    """Says what a score asks of a lever harp: its keys, when levers move, and what cannot be played."""
    if version:
        from harpkeys import __version__

        return f"harpkeys {__version__}\n"
    if context.invoked_subcommand is None:
        return context.get_help() + "\n"
    return ""


def _usage_sentence(message: str, words: Sequence[str]) -> str:
    """A mistake in the words typed, as one sentence."""
    about = f"{words[0]} " if words and words[0] in COMMANDS else ""
    what = " ".join(message.split()).rstrip(".?")
    what = re.sub(r"[.?] (\w)", lambda match: f", {match[1].lower()}", what)
    return f"{what}; harpkeys {about}--help lists what can be typed."
