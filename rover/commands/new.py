"""`rover new`."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import click

from rover.commands import options
from rover.commands.output import person_at_terminal, writing
from rover.errors import UserError
from rover.files.driver_keys import look_in
from rover.files.problems import FileProblems
from rover.project.files import files_of
from rover.project.questions import QUESTIONS, Question, answer
from rover.readiness.files import check_file
from rover.readiness.person import Person

NEXT = (
    "rover check config/errand.yaml --drivers .      # is all of it without a mistake, and can it work?",
    "rover rehearse config/errand.yaml --drivers .   # the errand on the bench",
    "pip install pytest && python -m pytest          # the same, and the driver, as tests",
)


def _asked_by_options(command: Callable[..., int]) -> Callable[..., int]:
    """Give a command an option for each question."""
    for question in reversed(QUESTIONS):
        option = f"--{question.name.replace('_', '-')}"
        words = f"{question.words} [{question.usual}]"
        command = click.option(option, question.name, metavar="ANSWER", help=words)(command)
    return command


@click.command()
@click.argument("folder", metavar="DIR", type=options.PathType())
@click.option("--yes", "usual", is_flag=True, help="Ask nothing: what no option answers is as in the brackets.")
@_asked_by_options
def command(folder: Path, usual: bool, **given: str | None) -> int:
    """Start a project of your own in DIR: robot, errand, behaviour, bench, a driver, an activity and a test.

    Asks about the robot. Each question has an option that answers it, and in brackets the answer that Enter gives.
    """
    _refuse_what_is_there(folder)
    answers = {one.name: answer(one, text) for one in QUESTIONS if (text := given[one.name]) is not None}
    answers |= {one.name: one.usual for one in QUESTIONS if usual and one.name not in answers}
    person = person_at_terminal("answer on standard input, or take what is in brackets with --yes")
    answers |= {one.name: _asked(person, one) for one in QUESTIONS if one.name not in answers}
    texts = files_of(answers)
    _check(folder, texts)
    with writing():
        _write(folder, texts)
    click.echo(f"written into {folder}: {', '.join(map(str, texts))}")
    click.echo(f"what to do next, in {folder}:")
    for line in NEXT:
        click.echo(f"  {line}")
    return 0


def _refuse_what_is_there(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise UserError(f"{folder}: this is a file; name a folder that is empty or not there yet")
    if folder.is_dir() and any(folder.iterdir()):
        raise UserError(f"{folder}: there is something in this folder; name one that is empty or not there yet")


def _asked(person: Person, question: Question) -> str:
    while True:
        text = person.ask(f"{question.words} [{question.usual}]") or question.usual
        try:
            return answer(question, text)
        except UserError as error:
            person.tell(str(error))


def _check(folder: Path, texts: dict[Path, str]) -> None:
    """Raise `FileProblems` where the answers make no project that can work: then nothing is written."""
    with TemporaryDirectory(prefix="rover-") as temporary:
        _write(Path(temporary), texts)
        look_in([Path(temporary)])
        try:
            check_file(Path(temporary) / "config" / "errand.yaml")
        except FileProblems as error:
            there = str(Path(temporary).resolve())
            found = (replace(one, file=one.file.replace(there, str(folder))) for one in error.problems)
            raise FileProblems(found) from None


def _write(folder: Path, texts: dict[Path, str]) -> None:
    for path, text in texts.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, "utf-8")
