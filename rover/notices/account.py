"""What is a person's own and in no record: the password of the mail server, the programs that may be run."""

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from rover.errors import UserError
from rover.files.load import load
from rover.files.notices import Mail
from rover.files.person import PersonFile
from rover.files.problems import FileProblems
from rover.notices.way import UnreachableError

PASSWORD, PERSON = "ROVER_MAIL_PASSWORD", "ROVER_PERSON"
"""Environment variables: the password itself, and where the person file is if not in its usual place."""
OTHERS = 0o077


class PersonFileError(UserError):
    """A person file that must not be used as it is; the message has the command that puts it right."""


def person_path(environment: Mapping[str, str] = os.environ) -> Path:
    """Return where the person file is, or would be."""
    if named := environment.get(PERSON):
        return Path(named)
    folder = environment.get("XDG_CONFIG_HOME") or Path(environment.get("HOME", "~")).expanduser() / ".config"
    return Path(folder) / "rover" / "person.yaml"


def read_person(path: Path) -> PersonFile | None:
    """Return what the person file says; None where there is none.

    Raises:
        PersonFileError: others may read it, or it is somebody else's.
        FileProblems: it has mistakes; none of its texts is repeated.
    """
    try:
        found = path.stat()
    except OSError:
        return None
    if found.st_mode & OTHERS:
        raise PersonFileError(f"{path}: others on this computer may read it; type: chmod 600 {path}")
    if found.st_uid not in (os.getuid(), 0):
        raise PersonFileError(f"{path}: belongs to somebody else; type: sudo chown {os.getuid()} {path}")
    try:
        model: PersonFile = load(path, "person").model
    except FileProblems as error:
        raise FileProblems(replace(problem, text="") for problem in error.problems) from None
    return model


def password_for(mail: Mail) -> str | None:
    """Return the password for a mail server; None where nobody logs in.

    Raises:
        UserError: there is none, or the person file cannot be used.
    """
    if mail.user is None:
        return None
    if given := os.environ.get(PASSWORD):
        return given
    path = person_path()
    person = read_person(path)
    if person is None or mail.server not in person.passwords:
        raise UnreachableError(
            f"no password for {mail.user} at {mail.server}: set {PASSWORD}, or write it under 'passwords:' in {path}"
        )
    return person.passwords[mail.server].get_secret_value()


def program_for(name: str) -> list[str]:
    """Return the program, and its arguments, that a person has given a name.

    Raises:
        UserError: there is none of this name, or the person file cannot be used.
    """
    path = person_path()
    person = read_person(path)
    if person is None or name not in person.commands:
        raise UnreachableError(f"no command '{name}' on this computer: write it under 'commands:' in {path}")
    return person.commands[name]
