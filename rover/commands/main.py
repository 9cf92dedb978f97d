"""The command line: finds a command by its name, and makes of every exception a message and an exit code.

Exit codes of every command: 0 done, or as expected; 1 the errand failed or stopped, or a check found what it
looks for; 2 unusable input; 70 a bug in rover (EX_SOFTWARE of BSD's sysexits.h); 129 hung up (SIGHUP); 130
interrupted (SIGINT); 143 terminated (SIGTERM).
"""

import contextlib
import importlib
import signal
import sys
from collections.abc import Sequence
from types import FrameType
from typing import NoReturn

import click
from click.shell_completion import CompletionItem

from rover import __version__
from rover.commands.streams import checked_streams
from rover.errors import UserError
from rover.files.problems import FileProblems, nearest

FAILED, UNUSABLE, BUG, INTERRUPTED = 1, 2, 70, 130
ENDINGS = {signal.SIGTERM: "terminated", signal.SIGHUP: "hung up"}
COMMANDS = {
    "bring-up": "Bring a ROBOT up: each part by itself, wheels off the ground.",
    "calibrate": "Calibrate a part of a ROBOT, and offer to correct its file.",
    "check": "Check a FILE of any kind, or without one this computer.",
    "completion": "Have your shell complete commands, options and files.",
    "draw": "Draw the graph of a behaviour or an errand FILE: SVG, or text for a README.",
    "emulate": "Emulate the co-processor of a ROBOT file on a pseudo-terminal.",
    "jog": "Drive a ROBOT by hand: it moves only while a key is held.",
    "losses": "Lose every device in every state of an ERRAND, on the bench.",
    "look": "Say what the vision sees in a SOURCE of pictures, and draw it.",
    "new": "Start a project of your own in DIR: files, code and a test.",
    "notices": "Send what waits of an ERRAND's notices, or one on trial.",
    "records": "List the runs recorded in a FOLDER, with their results.",
    "rehearse": "Rehearse an ERRAND on the bench, without the robot.",
    "replay": "Replay a run RECORD: is all decided the same again, and if not, why?",
    "report": "Write the report of a run RECORD, as one HTML file.",
    "reset": "Reset a latched stop; it never starts motion.",
    "schema": "Write what an editor needs to complete and check the files.",
    "run": "Carry an ERRAND out on the real robot.",
    "show": "Say why a run went as its RECORD has it, and what to try.",
    "stop": "Stop the robot, from any terminal, also without a run.",
    "survey": "Measure a floor by driving a ROBOT over it, into an errand file.",
    "trials": "Try an ERRAND over many seeds: how often it succeeds, and why not.",
}
"""Every command with its line in the help; it is ``command`` in the module of its name, imported when it is used."""


class CommandsByName(click.Group):
    """A group that imports a command only when it is called for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands' names."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command, None where there is none of this name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"rover.commands.{cmd_name.replace('-', '_')}").command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command that is called for."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            ctx.fail(f"there is no command '{args[0]}'{nearest(args[0], COMMANDS) or '.'}")
        return super().resolve_command(ctx, args)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Return the commands and options that begin so, importing none."""
        names = [CompletionItem(name, help=about) for name, about in COMMANDS.items() if name.startswith(incomplete)]
        return [*names, *click.Command.shell_complete(self, ctx, incomplete)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help's lines on the commands, importing none."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=CommandsByName, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="rover")
def commands() -> None:
    """Onboard runtime for a small wheeled fetch-and-return robot.

    Exit codes: 0 done, 1 failed or stopped or found, 2 unusable input, 70 a bug in rover, 129 hung up, 130 interrupted,
    143 terminated.
    """


class EndedBySignalError(BaseException):
    """SIGTERM or SIGHUP came; its number is the argument."""


def _on_signal(number: int, frame: FrameType | None) -> NoReturn:
    raise EndedBySignalError(number)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run a command; the one place where exceptions become messages and exit codes."""
    for number in ENDINGS:
        if signal.getsignal(number) is not signal.SIG_IGN:  # as under nohup
            signal.signal(number, _on_signal)
    with checked_streams():
        sys.exit(_exit_code_of(arguments))


def _exit_code_of(arguments: Sequence[str] | None) -> int:
    try:
        code = commands.main(args=arguments, prog_name="rover", standalone_mode=False)
        if sys.stdout is not None:
            sys.stdout.flush()
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()
        return error.exit_code
    except click.ClickException as error:
        click.echo(_in_one_line(error), err=True)
        return error.exit_code
    except UserError as error:
        _show(error)
        return error.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("\ninterrupted", err=True)
        return INTERRUPTED
    except EndedBySignalError as error:
        number = error.args[0]
        with contextlib.suppress(OSError):  # nobody may be there any more to read it
            click.echo(f"\n{ENDINGS[number]}", err=True)
        return 128 + int(number)  # as a shell gives it
    except Exception as error:
        sys.excepthook(type(error), error, error.__traceback__)
        click.echo("this is a bug in rover, not in what you gave it; please report it with the lines above", err=True)
        return BUG
    return code if isinstance(code, int) else 0


def _in_one_line(error: click.ClickException) -> str:
    """Return what is wrong with a command line, and where to read how it is meant."""
    context = getattr(error, "ctx", None)
    command = "rover" if context is None else context.command_path
    if isinstance(error, click.NoSuchOption) and (others := _with_option(error.option_name)):
        return f"{command}: no option {error.option_name} here; {others} has it. See {command} --help"
    return f"{command}: {' '.join(error.format_message().split())} See {command} --help"


def _show(error: UserError) -> None:
    """Write the message, and the notes that a command added to it."""
    lines = [str(error), *getattr(error, "__notes__", ())]
    if isinstance(error, FileProblems):
        lines.append(f"{_numbers(error)}; nothing was run")
    for line in lines:
        if line:  # nothing is said where nobody reads on
            click.echo(line, err=True)


def _numbers(error: FileProblems) -> str:
    errors = sum(not problem.warning for problem in error.problems)
    warnings = len(error.problems) - errors
    also = f" and {warnings} warning{'s' * (warnings != 1)}" if warnings else ""
    return f"{errors} problem{'s' * (errors != 1)}{also}"


def _with_option(option: str) -> str:
    """Return the commands that have an option; all are imported for it, which only a mistake pays for."""
    found = []
    for name in COMMANDS:
        command = commands.get_command(click.Context(commands), name)
        if command is not None and any(option in one.opts for one in command.params):
            found.append(f"rover {name}")
    return " or ".join(found)
