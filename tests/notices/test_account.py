"""What is a person's own: found, refused where others could read it, and never shown."""

import os
from pathlib import Path

import pytest

from rover.errors import UserError
from rover.files.notices import Mail
from rover.files.problems import FileProblems
from rover.notices.account import PASSWORD, PERSON, PersonFileError, password_for, person_path, program_for, read_person
from rover.notices.way import UnreachableError

MAIL = Mail.model_validate({"server": "mail.example.org", "user": "me", "sender": "a@b.org", "to": "c@d.org"})
GOOD = """
person: Me, at the bench
passwords: {mail.example.org: "4711 hush"}
commands: {tell: [/usr/bin/tell, --loud]}
"""


@pytest.fixture
def person(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "person.yaml"
    path.write_text(GOOD, "utf-8")
    path.chmod(0o600)
    monkeypatch.setenv(PERSON, str(path))
    monkeypatch.delenv(PASSWORD, raising=False)
    return path


@pytest.mark.parametrize(
    ("environment", "path"),
    [
        ({"HOME": "/home/me"}, "/home/me/.config/rover/person.yaml"),
        ({"HOME": "/home/me", "XDG_CONFIG_HOME": "/there"}, "/there/rover/person.yaml"),
        ({"HOME": "/home/me", PERSON: "/etc/rover/person.yaml"}, "/etc/rover/person.yaml"),
    ],
)
def test_where_it_is(environment: dict[str, str], path: str) -> None:
    assert person_path(environment) == Path(path)


def test_passwords_and_commands_are_found(person: Path) -> None:
    assert password_for(MAIL) == "4711 hush"
    assert program_for("tell") == ["/usr/bin/tell", "--loud"]


def test_the_environment_goes_before_the_file(person: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(PASSWORD, "from there")
    assert password_for(MAIL) == "from there"


def test_nobody_logs_in_without_a_user(person: Path) -> None:
    assert password_for(MAIL.model_copy(update={"user": None})) is None


def test_another_server_is_not_told_it(person: Path) -> None:
    with pytest.raises(UnreachableError, match=f"no password for me at evil.example.org: set {PASSWORD}, or write it"):
        password_for(MAIL.model_copy(update={"server": "evil.example.org"}))


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o622, 0o777])
def test_one_that_others_can_read_or_write_is_refused_with_what_to_type(person: Path, mode: int) -> None:
    person.chmod(mode)
    for use in (lambda: password_for(MAIL), lambda: program_for("tell")):
        with pytest.raises(PersonFileError, match=f"others on this computer may read it; type: chmod 600 {person}"):
            use()


def test_one_of_somebody_else_is_refused(person: Path) -> None:
    if os.getuid() != 0:
        pytest.skip("needs the right to give a file away: run as root")
    os.chown(person, 12345, -1)
    with pytest.raises(PersonFileError, match="belongs to somebody else"):
        read_person(person)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("hunter2", "a file is a block of 'key: value' lines"),
        ("person: Me\npasswords: {a: 4711}", ":2:16: a text is due here; put it in quotes"),
        ("person: Me\npasswords: 4711", ":2:12: a block of 'key: value' lines is due here"),
        ("person: Me\npasswords: {a: [4711]}", ":2:16: a text is due here"),
        ("person: Me\npassword: 'hunter2'", "did you mean 'passwords'"),
        ("person: Me\ncommands: {tell: 'rm -r hunter2'}", "a list of texts is due here, the program first"),
        ("person: Me\ncommands: {tell: []}", "a list of texts is due here, the program first"),
        ("person: Me\npasswords: {a: 'hunter2", "a quoted text that is not closed"),
    ],
)
def test_mistakes_are_told_by_line_and_no_secret_with_them(person: Path, text: str, says: str) -> None:
    person.write_text(text, "utf-8")
    with pytest.raises(FileProblems) as refused:
        read_person(person)
    assert says in str(refused.value)
    assert "hunter2" not in str(refused.value)
    assert "4711" not in str(refused.value)


def test_without_one_it_says_what_to_do(person: Path) -> None:
    person.unlink()
    with pytest.raises(UserError, match=f"write it under 'passwords:' in {person}"):
        password_for(MAIL)
    with pytest.raises(UserError, match=f"no command 'tell' on this computer: write it under 'commands:' in {person}"):
        program_for("tell")


def test_a_password_does_not_show_where_its_file_is_printed(person: Path) -> None:
    assert "4711" not in repr(read_person(person))
