"""The command line: finds the command, runs it, and turns every error into a message and an exit status.

Errors are caught here and nowhere else.  Commands are imported when they are called, so that none pays
for the others.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import TYPE_CHECKING

import click

from voltsec.command.status import Status

if TYPE_CHECKING:
    from voltsec.circuit.fault import CircuitError

COMMANDS = {
    "solve": "voltsec.command.solve",
    "map": "voltsec.command.map",
    "sweep": "voltsec.command.sweep",
    "size": "voltsec.command.size",
    "compare": "voltsec.command.compare",
    "waves": "voltsec.command.waves",
    "draw": "voltsec.command.draw",
    "startup": "voltsec.command.startup",
    "derive": "voltsec.command.derive",
    "states": "voltsec.command.states",
    "dynamics": "voltsec.command.dynamics",
    "report": "voltsec.command.report",
    "check": "voltsec.command.check",
    "circuits": "voltsec.command.circuits",
    "language": "voltsec.command.language",
    "tidy": "voltsec.command.tidy",
}
"""Command name -> module; each module holds a click command called ``command``."""


class LazyGroup(click.Group):
    """A group whose commands are imported when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, imported now."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[cmd_name]).command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click's, with the nearest name in the complaint about an unknown command."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from voltsec.circuit.spelling import did_you_mean

            hint = did_you_mean(args[0], COMMANDS) or f"there are {', '.join(COMMANDS)}"
            ctx.fail(f"no command is called {args[0]!r}; {hint}")
        return super().resolve_command(ctx, args)


def _print_version(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    if wanted:
        import voltsec

        click.echo(f"voltsec {voltsec.__version__}")
        context.exit()


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example:  voltsec solve sepic",
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Show the version.",
)
def commands() -> None:
    """Closed-form analysis of switching DC-DC converter power stages, from a text netlist."""


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit status; nothing is raised."""
    try:
        status = _attempt(list(sys.argv[1:] if arguments is None else arguments))
        sys.stdout.flush()
        return status
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return Status.INTERRUPTED
    except BrokenPipeError:  # the reader had enough, which is no error of ours
        _forget_standard_output()
        return Status.DONE


def _attempt(arguments: list[str]) -> int:
    machine_readable = "--json" in arguments
    from voltsec.circuit.fault import CircuitError, NoSteadyState

    try:
        # not commands.main(): click would turn a closed pipe into status 1, which has a meaning here
        with commands.make_context("voltsec", arguments) as context:
            result = commands.invoke(context)
        return result if isinstance(result, int) else Status.DONE
    except click.exceptions.Exit as leaving:  # --help and --version
        return leaving.exit_code
    except click.exceptions.NoArgsIsHelpError as problem:
        problem.show(sys.stderr)
        return Status.BAD_INPUT
    except click.ClickException as problem:
        problem.show(sys.stderr)
        return _tell_machine(machine_readable, "usage", problem.format_message(), Status.BAD_INPUT)
    except NoSteadyState as error:
        return _complain(error, machine_readable, Status.NO_ANSWER)
    except CircuitError as error:
        return _complain(error, machine_readable, Status.BAD_INPUT)
    except BrokenPipeError:
        raise
    except OSError as problem:
        message = f"{problem.filename or 'file'}: {problem.strerror or problem}"
        print(f"voltsec: {message}", file=sys.stderr)
        return _tell_machine(machine_readable, "system", message, Status.BAD_INPUT)
    except Exception as fault:
        import traceback

        traceback.print_exc()
        print("voltsec: this is a fault of the program, not of the netlist", file=sys.stderr)
        message = f"{type(fault).__name__}: {fault}"
        return _tell_machine(machine_readable, "internal", message, Status.INTERNAL)


def _complain(error: CircuitError, machine_readable: bool, status: Status) -> int:
    """A circuit's faults: text on standard error and, where asked for, JSON on standard output."""
    import json

    from voltsec.language import complaints

    print(complaints.render(error), file=sys.stderr)
    if machine_readable:
        told = {"format": 1, "errors": complaints.as_objects(error)}
        print(json.dumps(told, indent=2, ensure_ascii=False))
    return status


def _tell_machine(machine_readable: bool, kind: str, message: str, status: Status) -> int:
    """An error outside any netlist, in the form of a netlist's."""
    if machine_readable:
        import json

        fault: dict[str, object] = {"line": None, "column": None, "kind": kind, "message": message}
        fault |= {"elements": [], "hint": ""}
        print(json.dumps({"format": 1, "errors": [fault]}, indent=2, ensure_ascii=False))
    return status


def _forget_standard_output() -> None:
    """The reader went away: what is still buffered must not raise once more at exit."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())


def main() -> None:
    """Entry point of the ``voltsec`` script."""
    gc.disable()  # a short process: what it makes lives to its end, and searching it takes time
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:  # a title in the netlist may hold signs the terminal lacks
            reconfigure(errors="replace")
    sys.exit(run())
