"""Good files with one deliberate mistake each; the tables in `broken/` say which, and what must be said of it.

A table `broken/<folder>.yaml` has the good file that its rows edit, and rows by the name that the broken file gets:

    good: robot                                # broken/good/robot.yaml; a row may name another one
    rows:
      misspelt_limit:
        edit: {"speed: 0.4": "sped: 0.4"}      # texts that stand there exactly once, and what stands there instead
        says: [[22, "unknown key", "did you mean 'speed'"]]      # for each problem: line, words of the cause,
                                                                 # the suggestion, the file if it is another one

A row with `text` is the whole file; one with neither is in `MADE`. `says: []` is a file without a mistake of its own,
that others need beside them. Edits are made in the text, so that the lines in messages count.
"""

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import rover.files.problems
from rover.commands import main as cli
from rover.files.problems import FileProblems
from rover.readiness.files import check_file

TABLES = Path(__file__).parent / "broken"
GOOD = {path.stem: path.read_text("utf-8") for path in sorted((TABLES / "good").glob("*.yaml"))}
MODULES = TABLES / "modules"
HARD_LIMIT_S = 20

CONDITION = "when: target.known, confirm: 3 of 5"


def edited(text: str, edits: dict[str, str]) -> str:
    for old, new in edits.items():
        assert text.count(old) == 1, f"stands there {text.count(old)} times, not once: {old!r}"
        text = text.replace(old, new)
    return text


MADE: dict[str, bytes] = {
    "any/binary.yaml": bytes(range(256)) * 4,
    "any/deep_blocks.yaml": ("robot:\n" + "".join(" " * depth + "a:\n" for depth in range(1, 61))).encode(),
    "any/utf_16.yaml": GOOD["robot"].encode("utf-16"),
    "any/very_deep.yaml": f"robot: {'[' * 3000}{']' * 3000}\n".encode(),
    "condition/condition_too_long.yaml": edited(
        GOOD["behaviour"], {CONDITION: f'when: "{" or ".join(["target.seen"] * 60)}"'}
    ).encode(),
    "condition/condition_very_deep.yaml": edited(
        GOOD["behaviour"], {CONDITION: f'when: "{"(" * 240}target.seen{")" * 240}"'}
    ).encode(),
}
"""What cannot be written in a table, or not so that a person can read it."""


def _rows() -> Iterator[tuple[str, bytes, list[list[Any]]]]:
    for path in sorted(TABLES.glob("*.yaml")):
        table = yaml.safe_load(path.read_text("utf-8"))
        for name, row in table["rows"].items():
            file = f"{path.stem}/{name}.yaml"
            yield file, MADE[file] if file in MADE else _content(row, table["good"]), row["says"]


def _content(row: dict[str, Any], good: str) -> bytes:
    text: str = row["text"] if "text" in row else edited(GOOD[row.get("good", good)], row["edit"])
    return text.encode(row.get("encoding", "utf-8"))


ROWS = {file: (content, says) for file, content, says in _rows()}
EXPECTED = {file: says for file, (_, says) in ROWS.items() if says}
SOUND = [*(f"good/{kind}.yaml" for kind in GOOD), *(file for file in ROWS if file not in EXPECTED)]


@pytest.fixture(scope="session")
def broken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project folder with all broken files, and the good ones beside them."""
    folder = tmp_path_factory.mktemp("project") / "broken"
    for file, content in {**ROWS, **{f"good/{kind}.yaml": (text.encode(), []) for kind, text in GOOD.items()}}.items():
        (folder / file).parent.mkdir(parents=True, exist_ok=True)
        (folder / file).write_bytes(content[0])
    (folder.parent / "pyproject.toml").touch()
    return folder


LINE = re.compile(r"(?P<file>[^:\n]+):(?P<line>\d+):(?P<column>\d+):(?P<rest> .+)")


class Said(NamedTuple):
    code: int
    output: str
    lines: list[str]


class Problem(NamedTuple):
    file: str
    line: int
    rest: str


@pytest.fixture(autouse=True)
def hard_limit() -> Iterator[None]:
    """A file that hangs the check fails the test instead of hanging it; the command's own handler is put back."""
    before = signal.getsignal(signal.SIGTERM)
    signal.signal(signal.SIGALRM, _too_long)
    signal.alarm(HARD_LIMIT_S)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGTERM, before)


def _too_long(number: int, frame: object) -> None:
    raise AssertionError(f"still at it after {HARD_LIMIT_S} s")


@pytest.fixture(autouse=True)
def nothing_runs(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """No socket, no command, and no module that a file names."""
    monkeypatch.syspath_prepend(MODULES)
    monkeypatch.setattr(socket, "socket", _refused)
    monkeypatch.setattr(os, "system", _refused)
    yield
    assert not {path.stem for path in MODULES.glob("*.py")} & set(sys.modules)


def _refused(*_: object, **__: object) -> None:
    raise AssertionError("a check opens no socket and runs no command")


def check(path: str | Path, capsys: pytest.CaptureFixture[str]) -> Said:
    with pytest.raises(SystemExit) as ended:
        cli.main(["check", str(path)])
    captured = capsys.readouterr()
    return Said(int(ended.value.code or 0), captured.out, captured.err.splitlines())


def problems(lines: list[str]) -> list[Problem]:
    matches = [LINE.fullmatch(line) for line in lines]
    assert all(matches), lines
    return [Problem(match["file"], int(match["line"]), match["rest"]) for match in matches if match]


def test_all_rows_are_there() -> None:
    assert set(MADE) <= set(EXPECTED)
    assert len(EXPECTED) >= 334


@pytest.mark.parametrize("file", SOUND)
def test_what_stands_beside_the_broken_files_is_sound(
    file: str, broken: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(broken)
    said = check(file, capsys)
    assert (said.code, said.lines) == (0, [])


@pytest.mark.parametrize("file", EXPECTED)
def test_each_mistake_gives_its_one_message(
    file: str, broken: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(broken)
    said = check(file, capsys)
    assert said.code == cli.UNUSABLE
    assert said.output == ""
    *lines, last = said.lines
    found = problems(lines)
    count = len(EXPECTED[file])
    assert len(found) == count, lines
    assert last == f"{count} problem{'s' * (count != 1)}; nothing was run"
    for problem, (line, cause, *more) in zip(found, EXPECTED[file], strict=True):
        suggestion, where = [*more, *["", ""][len(more) :]]
        assert (problem.file, problem.line) == (where or file, line)
        assert cause in problem.rest
        assert suggestion in problem.rest


def test_several_mistakes_are_told_at_once_file_by_file_and_in_the_order_of_their_lines(
    broken: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(broken)
    found = problems(check("several/errand.yaml", capsys).lines[:-1])
    places = [(problem.file, problem.line) for problem in found]
    assert places == sorted(places)
    assert {file for file, _ in places} == {
        f"several/{kind}.yaml" for kind in ("behaviour", "bench", "errand", "robot")
    }


GUARDED = """
import os, sys
FORBIDDEN = ("os.system", "os.exec", "os.posix_spawn", "os.fork", "subprocess.Popen", "socket.__new__")
def hook(event, arguments):
    if event in FORBIDDEN or event == "import" and arguments[0].startswith("canary"):
        os._exit(99)
sys.addaudithook(hook)
from rover.commands.main import main
main(sys.argv[1:])
"""

SAMPLE = (
    "any/alias_bomb.yaml",
    "any/binary.yaml",
    "any/python_module_tag.yaml",
    "any/python_tag.yaml",
    "any/very_deep.yaml",
    "condition/call_of_an_import.yaml",
    "behaviour/mistake_beside_an_own_activity.yaml",
    "driver_robot/declared_choice.yaml",
    "errand/path_out_of_the_project.yaml",
    "recursive_part/first.yaml",
    "robot/mistake_beside_an_own_driver.yaml",
)


@pytest.mark.parametrize("file", SAMPLE)
def test_a_process_of_its_own_says_the_same_and_runs_nothing(file: str, broken: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": f"{MODULES}:{os.environ.get('PYTHONPATH', '')}"}
    command = [sys.executable, "-c", GUARDED, "check", file]
    ended = subprocess.run(
        command, cwd=broken, env=environment, capture_output=True, text=True, timeout=60, check=False
    )
    assert ended.returncode == cli.UNUSABLE, ended.stderr
    assert ended.stdout == ""
    assert "Traceback" not in ended.stderr
    assert len(ended.stderr.splitlines()) == len(EXPECTED[file]) + 1


def test_a_file_of_ten_megabytes_is_not_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "robot.yaml").write_text("robot: Cart\n" + "# a jar with a teal lid\n" * 450_000)
    said = check(tmp_path / "robot.yaml", capsys)
    assert said.code == cli.UNUSABLE
    assert ":1:1: larger than 1000 kB; " in said.lines[0]


@pytest.mark.parametrize(
    ("name", "cause"),
    [
        ("nowhere.yaml", "there is no such file (known here: robot.yaml)"),
        ("robt.yaml", "there is no such file; did you mean 'robot.yaml'?"),
        (".", "this is a folder; name a YAML file"),
        ("pipe.yaml", "this is not a regular file"),
        ("x" * 5000, "cannot be read: File name too long"),
    ],
)
def test_what_is_no_readable_file(name: str, cause: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "robot.yaml").write_text("robot: Cart\n")
    os.mkfifo(tmp_path / "pipe.yaml")
    said = check(tmp_path / name, capsys)
    assert said.code == cli.UNUSABLE
    assert said.lines[0].endswith(f":1:1: {cause}")


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project folder with the good files in it, and one of them outside, too."""
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "pyproject.toml").touch()
    for kind, text in GOOD.items():
        (folder / f"{kind}.yaml").write_text(text.replace("../good/", ""))
    (tmp_path / "outside.yaml").write_text(GOOD["robot"])
    return folder


def _naming(project: Path, robot: str) -> Path:
    errand = project / "errand.yaml"
    errand.write_text(errand.read_text().replace("robot: robot.yaml", f"robot: {robot}"))
    return errand


def test_the_project_itself_is_sound(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert check(_naming(project, "robot.yaml"), capsys).code == 0


def test_a_symlink_inside_the_project_may_be_named(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "link.yaml").symlink_to(project / "robot.yaml")
    assert check(_naming(project, "link.yaml"), capsys).code == 0


def test_a_path_may_not_leave_the_project_by_a_symlink(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "link.yaml").symlink_to(project.parent / "outside.yaml")
    said = check(_naming(project, "link.yaml"), capsys)
    assert said.code == cli.UNUSABLE
    assert "errand.yaml:2:" in said.lines[0]
    assert "this path leads out of the project project/ (the folder that has" in said.lines[0]


CANNOT_BE = "this cannot be the path of a file"
LOOP = "this is a loop of links, none of them a file"


@pytest.mark.parametrize(("name", "why"), [("ring.yaml", LOOP), ("x" * 5000, CANNOT_BE), ('"a\\0b"', CANNOT_BE)])
def test_a_path_that_no_file_can_have(name: str, why: str, project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "ring.yaml").symlink_to(project / "ring.yaml")
    said = check(_naming(project, name), capsys)
    assert said.code == cli.UNUSABLE
    assert why in said.lines[0]


def test_what_a_file_holds_cannot_steer_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "robot.yaml").write_text('robot: Cart\n"lo\\e[2Jop\\n": 50 Hz\n')
    text = "".join(check(tmp_path / "robot.yaml", capsys).lines)
    assert "\x1b" not in text
    assert r"lo\x1b[2Jop\n" in text


def test_a_huge_value_is_not_printed_whole(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "robot.yaml").write_text(f"robot: Cart\nloop: {'9' * 100_000}x\n")
    assert max(map(len, check(tmp_path / "robot.yaml", capsys).lines)) < 1000


PIECES = st.one_of(
    st.text(max_size=4),
    st.sampled_from(
        [":", "- ", "{", "}", "[", "]", "\n", "\n  ", "&a ", "*a", "!x ", "'", '"', "~", "1e9", "-", ", ", "#"]
    ),
)


def found_in(path: Path) -> Sequence[rover.files.problems.Problem]:
    try:
        return check_file(path).warnings
    except FileProblems as error:
        return error.problems


@pytest.mark.parametrize("kind", ["robot", "errand", "behaviour", "bench"])
@settings(max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_whatever_is_typed_into_a_good_file_it_is_read_or_refused(
    kind: str, data: st.DataObject, project: Path
) -> None:
    """No text makes the check fail otherwise than by `FileProblems`."""
    text = GOOD[kind].replace("../good/", "")
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 12)))
    path = project / "typed.yaml"
    path.write_bytes((text[:start] + data.draw(PIECES) + text[end:]).encode("utf-8", "surrogatepass"))
    assert all(problem.line >= 1 and problem.column >= 1 and problem.why for problem in found_in(path))
