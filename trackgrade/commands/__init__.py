"""The command line: which commands there are, and how each way of ending becomes an exit status.

A command lives in the module of its name, as one click command called ``command``, and is imported only
when it runs. Nothing here or in a command module's head imports numpy: ``trackgrade --help`` is instant.

Exit status: 0 done, 2 wrong usage or unreadable input, 3 read but no hold flown, 130 interrupted,
1 a fault of ours (reported in one line; TRACKGRADE_TRACEBACK=1 shows where).
"""

from __future__ import annotations

import atexit
import contextlib
import errno
import gc
import os
import signal
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

import click

from trackgrade import __version__
from trackgrade.commands import console
from trackgrade.errors import TrackgradeError, UsageError

#: Every command with its one line of help, in the order a pilot meets them.
COMMANDS = {
    "serve": "The whole job in your browser: drop tracks, grade, read, brief.",
    "brief": "Before the flight: entry, headings and times in this wind.",
    "grade": "After the flight: measure and grade the laps of a track.",
    "find": "Find the holds in a track that came with no hold file.",
    "holds": "Your hold set: hold files by name, to share as a folder.",
    "columns": "Show which column of a log is read as what.",
    "standards": "List the standards, or show one with its sources.",
    "progress": "Trends over the sessions of a pilot, or of a class.",
    "logbook": "Export, import or delete recorded sessions.",
    "simulate": "Make a flight with known truth, for practice and tests.",
    "demo": "Simulate, grade and report, with no input.",
}

INTERRUPTED = 130
FAULT_OF_OURS = 1


class Program(click.Group):
    """The group of all commands: loads a command when it runs, ends every run in one place."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(f"trackgrade.commands.{cmd_name}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            raise UsageError(f"there is no command '{args[0]}'; the commands are {', '.join(COMMANDS)}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def main(  # type: ignore[override]  # ends the process instead of returning
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        **extra: Any,
    ) -> NoReturn:
        _prepare_process(from_shell=args is None)
        extra.pop("standalone_mode", None)
        if "NO_COLOR" in os.environ:
            extra.setdefault("color", False)
        try:
            returned = super().main(args, prog_name or "trackgrade", complete_var, standalone_mode=False, **extra)
            status = returned if isinstance(returned, int) else 0
        except Exception as error:
            status = _explain(error)
        except SystemExit:  # click's way of saying that nobody reads the rest: what was asked for is done
            console.nobody_reads()
            status = 0
        except KeyboardInterrupt:  # outside the command itself
            status = _explain(_Interrupted("nothing is half written"))
        if args is None:
            _leave(status)
        sys.exit(status)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as interrupt:  # before click turns it into a bare "Aborted"
            raise _Interrupted(str(interrupt) or "nothing is half written") from interrupt


_status: int | None = None  # of this process, once its command is done


def _leave(status: int) -> None:
    """The end of the whole process: an interrupt from here on comes too late to change its status."""
    global _status
    with contextlib.suppress(ValueError):  # not the main thread
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        sys.stdout.flush()
    except OSError:  # at the very end too: the last words have no reader, or no room
        console.nobody_reads()
    _status = status


def _end_at_once() -> None:
    """After all that libraries do at the end: taking apart every module as well is a fortieth of a grade's time.

    An interrupt that came while a library executed a text would make the interpreter end by the signal, not by 130.
    """
    if _status is not None:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError):
                stream.flush()
        os._exit(_status)


class _Interrupted(Exception):
    """The user pressed Ctrl-C; the message says what stands on disk."""


def _explain(error: Exception) -> int:
    """Say in one line on standard error what went wrong; return the exit status."""
    if os.environ.get("TRACKGRADE_TRACEBACK"):
        raise error
    match error:
        case TrackgradeError():
            console.complain(str(error))
            return error.exit_status
        case _Interrupted():
            console.complain(f"interrupted: {error}")
            return INTERRUPTED
        case click.exceptions.NoArgsIsHelpError():
            click.echo(error.ctx.get_help() if error.ctx else "", err=True)
            return UsageError.exit_status
        case click.ClickException():
            context = getattr(error, "ctx", None)
            remedy = f" (see: {context.command_path} --help)" if context else ""
            console.complain(error.format_message().rstrip(".") + remedy)
            return UsageError.exit_status
        case click.Abort():
            click.echo(err=True)  # the question before it ends without a line of its own
            console.complain("interrupted: nothing is half written")
            return INTERRUPTED
        case OSError() if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EIO):
            console.complain(f"what it says could not be written: {error.strerror}; free some space there")
            return UsageError.exit_status
        case OSError() if error.filename is not None:
            console.complain(f"{error.filename}: {error.strerror}; check the path and its permissions")
            return UsageError.exit_status
        case OSError():  # no folder to be in, no more files or processes
            console.complain(
                f"the system refused: {error.strerror or error}; check the folder you are in, and what you may use here"
            )
            return UsageError.exit_status
        case MemoryError():
            console.complain("out of memory; grade fewer flights at a time, or use --jobs 1")
            return UsageError.exit_status
        case _:
            console.complain(
                f"a fault in trackgrade {__version__}, please report it: {type(error).__name__}: {error}"
                " (TRACKGRADE_TRACEBACK=1 shows where)"
            )
            return FAULT_OF_OURS


def _prepare_process(*, from_shell: bool) -> None:
    """Settings of the whole process that must precede the first import of numpy."""
    # One thread a process: the arrays are small, the batch already uses every core, and the same
    # order of additions gives the same last bit on every machine.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    if not from_shell:
        return
    for name in ("stdin", "stdout", "stderr"):  # closed by who started it: nothing is read from there, or said
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("r" if name == "stdin" else "w", encoding="utf-8"))  # noqa: SIM115
    # Modules live to the end: to look for garbage among them as often as usual is a tenth of a grade's time.
    gc.set_threshold(200_000)
    atexit.register(_end_at_once)  # before any library registers anything, so that it comes last
    # Told to end, or left by its terminal, it ends as by Ctrl-C: with nothing half written.
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name) and signal.getsignal(getattr(signal, name)) is signal.SIG_DFL:
            with contextlib.suppress(ValueError):  # not the main thread
                signal.signal(getattr(signal, name), signal.default_int_handler)
    if not sys.warnoptions:  # a library's warning is for us, in the tests; a pilot gets our own words
        warnings.simplefilter("ignore")
    for stream in (sys.stdout, sys.stderr):  # a console that lacks the degree sign must not end the run
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


@click.group(
    cls=Program,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=console.CAUTION,
)
@click.version_option(__version__, prog_name="trackgrade")
def main() -> None:
    """Objective debriefs of the holding patterns in a GPS track.

    Brief a hold before the flight, grade what was flown against practical-test tolerances,
    see lap by lap what happened and what to do next, and follow a pilot's progress.
    """
