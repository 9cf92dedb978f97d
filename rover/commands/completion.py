"""`rover completion`."""

import os
from pathlib import Path

import click
from click.shell_completion import get_completion_class

from rover.commands.main import commands
from rover.commands.output import writing
from rover.errors import UserError

VARIABLE = "_ROVER_COMPLETE"
PLACES = {
    "bash": ("XDG_DATA_HOME", "~/.local/share", "bash-completion/completions/rover"),
    "zsh": ("XDG_DATA_HOME", "~/.local/share", "zsh/site-functions/_rover"),
    "fish": ("XDG_CONFIG_HOME", "~/.config", "fish/completions/rover.fish"),
}
"""By shell: where it looks for completions of a person's own (the bash-completion package's README; fish's manual)."""


@click.command()
@click.argument("shell", type=click.Choice(list(PLACES)), required=False)
def command(shell: str | None) -> int:
    """Have your SHELL complete rover's commands, options and files; without a name, the shell that you log in with."""
    shell = shell or Path(os.environ.get("SHELL", "")).name
    if shell not in PLACES:
        raise UserError(f"which shell is yours? Name it: rover completion {'|'.join(PLACES)}")
    variable, usual, below = PLACES[shell]
    file = Path(os.environ.get(variable) or usual).expanduser() / below
    completion = get_completion_class(shell)
    assert completion is not None
    with writing():
        if file.exists() and VARIABLE not in file.read_text("utf-8", "replace"):
            raise UserError(f"{file}: this is not of rover, and is left alone; move it away first")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(completion(commands, {}, "rover", VARIABLE).source(), "utf-8")
    click.echo(f"written: {file}")
    if shell == "zsh":
        click.echo(f"add to ~/.zshrc, before the line with compinit: fpath=({file.parent} $fpath)")
    click.echo("a new shell has it")
    return 0
