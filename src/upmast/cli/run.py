"""Run one command and turn what can go wrong into words and an exit code."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import traceback
from collections.abc import Sequence

import typer

from upmast import __version__
from upmast.cli import explain, judge, pack, part, plan, prove, record, seal, start
from upmast.errors import InputFaults, UpmastError

PASSES, FAILS, BAD_INPUT, NOT_JUDGED, OUR_ERROR, STOPPED = 0, 1, 2, 3, 70, 130
app = typer.Typer(
    name="upmast",
    help="The antenna line of a cell site: from a radio plan to a proven line, its documents, and a judged sweep.",
    epilog="Exit codes: 0 all passes, 1 something fails, 2 bad input or use, 3 not judged, 70 an error of ours.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
for module in (start, plan, prove, explain, pack, judge, record, part, seal):
    module.register(app)


def _version(shown: bool) -> None:
    if shown:
        typer.echo(f"upmast {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(False, "--version", callback=_version, is_eager=True, help="Print the version."),
) -> None:
    """Options of every command stand behind it: `upmast prove --help`."""


def run(arguments: Sequence[str]) -> int:
    """Run a command; the exit code. Nothing but this prints a traceback, and only for an error of ours."""
    try:
        code = _run(arguments)
        sys.stdout.flush()  # a reader that has gone must not come to light only after the exit code is settled
    except BrokenPipeError:
        _silence()
        return STOPPED
    return code


def _run(arguments: Sequence[str]) -> int:
    as_json = "--json" in arguments
    try:
        app(args=list(arguments), prog_name="upmast", standalone_mode=True)
    except SystemExit as leaving:
        # the libraries turn a reader that has gone into exit code 1, which here would mean that something fails
        if isinstance(leaving.__context__, BrokenPipeError):
            raise leaving.__context__ from None
        return leaving.code if isinstance(leaving.code, int) else (0 if leaving.code is None else 1)
    except UpmastError as error:
        _say(error, as_json)
        return BAD_INPUT
    except BrokenPipeError:
        raise
    except KeyboardInterrupt:
        return STOPPED
    except Exception as error:
        if as_json:
            print(json.dumps({"error": "internal", "message": str(error)}))
        traceback.print_exc()
        print("\nThis is an error of upmast, not of your files. Please report it with the text above.", file=sys.stderr)
        return OUR_ERROR
    return PASSES


def _silence() -> None:
    """Let what is still to be written go nowhere, so that no traceback follows when the interpreter ends."""
    with contextlib.suppress(OSError, ValueError):  # ValueError: a stream without a file, as in a test
        nowhere = os.open(os.devnull, os.O_WRONLY)
        try:
            os.dup2(nowhere, sys.stdout.fileno())
        finally:
            os.close(nowhere)


def _say(error: UpmastError, as_json: bool) -> None:
    faults = [fault.as_data() for fault in error.faults] if isinstance(error, InputFaults) else []
    if as_json:
        print(
            json.dumps(
                {"error": "input" if faults else "use", "message": str(error), "faults": faults},
                ensure_ascii=False,
                indent=1,
            )
        )
        return
    if faults:
        count = f"{len(faults)} fault" + ("s" if len(faults) > 1 else "")
        print(f"{count} found; nothing was changed.\n", file=sys.stderr)
    print(str(error), file=sys.stderr)
