"""The commands: in this process where only text and exit code count, in one of their own where signals do."""

import json
import os
import select
import signal
import subprocess
import sys
import tty
from pathlib import Path

import pytest

from rover.commands import main as cli
from rover.record.reader import read
from rover.record.run import RecordError

CONFIG = Path(__file__).parents[2] / "config"
RECTANGLE = CONFIG / "rectangle.yaml"
COMMAND = [sys.executable, "-c", "from rover.commands.main import main; main()"]
TIME_LIMIT_S = 30


@pytest.fixture(autouse=True)
def signals_as_before():
    """`main` takes SIGTERM over; give it back."""
    before = signal.getsignal(signal.SIGTERM)
    yield
    signal.signal(signal.SIGTERM, before)


@pytest.fixture
def rover(capsys, monkeypatch, tmp_path):
    """Run a command in an empty working folder; return (exit code, standard output, standard error)."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments):
        with pytest.raises(SystemExit) as ended:
            cli.main([str(argument) for argument in arguments])
        written = capsys.readouterr()
        return ended.value.code, written.out, written.err

    return run


KEYS = [
    "result",
    "reason",
    "delivered",
    "objects",
    "finds",
    "worst_axis_error_m",
    "robot_time_s",
    "wall_time_s",
    "steps",
    "record",
]


class TestRehearse:
    @pytest.fixture(scope="class")
    @classmethod
    def greenhouse(cls, tmp_path_factory):
        """The demo's errand in a process of its own, once with --json and once without."""
        folder = tmp_path_factory.mktemp("greenhouse")
        command = [*COMMAND, "rehearse", str(CONFIG / "greenhouse.yaml"), "--seed", "3"]
        return folder, *(
            subprocess.run([*command, *more], cwd=folder, capture_output=True, text=True, check=True).stdout
            for more in (["--json"], [])
        )

    def test_json_is_one_object_and_nothing_else(self, greenhouse):
        folder, out, _ = greenhouse
        result = json.loads(out)
        assert list(result) == KEYS
        assert result["objects"] == result["delivered"] == 9
        assert (folder / result["record"]).is_file()

    def test_each_find_has_its_errors_and_its_ellipse(self, greenhouse):
        result = json.loads(greenhouse[1])
        assert len(result["finds"]) >= 8
        for find in result["finds"]:
            assert list(find) == ["kind", "x_m", "y_m", "axis_error_m", "distance_error_m", "ellipse"]
            assert list(find["ellipse"]) == ["major_m", "minor_m", "angle_rad"]
            assert find["ellipse"]["major_m"] >= find["ellipse"]["minor_m"] > 0.0
            assert find["axis_error_m"] <= find["distance_error_m"]
        assert result["worst_axis_error_m"] == max(find["axis_error_m"] for find in result["finds"])

    def test_without_json_a_person_can_read_it(self, greenhouse):
        lines = greenhouse[2].splitlines()
        assert lines[0].startswith("done (all_in): 9 of 9 delivered in ")
        assert len([line for line in lines if line.split()[1] in ("amber", "teal", "violet")]) >= 8
        assert lines[-1].startswith("record: runs/greenhouse-seed3-")

    def test_an_errand_that_fails_is_code_1(self, rover):
        code, out, _ = rover("rehearse", CONFIG / "greenhouse.yaml", "--set", "longest=2 s", "--json")
        assert code == 1
        assert json.loads(out)["result"] == "failed"

    def test_two_runs_have_two_records(self, rover):
        records = [json.loads(rover("rehearse", RECTANGLE, "--json")[1])["record"] for _ in range(3)]
        assert len(set(records)) == 3

    def test_a_setting_is_overridden(self, rover):
        usual, short = (
            json.loads(rover("rehearse", RECTANGLE, "--json", *more)[1])["robot_time_s"]
            for more in ((), ("--set", "long_side=50 cm"))
        )
        assert short < 0.8 * usual

    @pytest.mark.parametrize(
        ("given", "message"),
        [
            ("long_sid=1 m", "did you mean 'long_side'"),
            ("long_side=1 V", "this setting is a length"),
            ("long_side=1", "this setting is a length"),
            ("long_side", "write a setting and its value"),
            ("=1 m", "write a setting and its value"),
            ("long_side=", "write a setting and its value"),
        ],
    )
    def test_a_setting_that_cannot_be(self, rover, given, message):
        code, out, err = rover("rehearse", RECTANGLE, "--set", given)
        assert (code, out) == (2, "")
        assert message in err
        assert "Traceback" not in err

    @pytest.mark.parametrize(
        ("arguments", "message"),
        [
            (("nowhere.yaml",), "nowhere.yaml"),
            ((RECTANGLE, "--drivers", "no_such_folder"), "no_such_folder"),
            ((RECTANGLE, "--seed", "-1"), "--seed"),
            ((RECTANGLE, "--sed", "1"), "--seed"),
            ((CONFIG / "cart.yaml",), "errand file is due here"),
            ((CONFIG,), "config"),
        ],
    )
    def test_unusable_input_is_code_2_and_one_clear_message(self, rover, arguments, message):
        code, out, err = rover("rehearse", *arguments)
        assert (code, out) == (2, "")
        assert message in err
        assert "Traceback" not in err

    def test_a_working_folder_that_cannot_hold_the_record(self, rover, tmp_path):
        """A file stands where the folder should be: that stops also one who may write everywhere."""
        (tmp_path / "runs").write_text("", encoding="utf-8")
        code, out, err = rover("rehearse", RECTANGLE)
        assert (code, out) == (2, "")
        assert "runs" in err


class TestReport:
    def test_it_is_written_beside_the_record(self, rover):
        record = json.loads(rover("rehearse", RECTANGLE, "--json")[1])["record"]
        code, out, _ = rover("report", record)
        assert code == 0
        page = Path(out.removeprefix("report: ").strip())
        assert page == Path(record).with_suffix(".html")
        assert "Drive a rectangle in the bay" in page.read_text("utf-8")

    @pytest.mark.parametrize(
        ("content", "message"), [(None, "there is no such file"), (b"not a database, but long enough" * 9, "not a run")]
    )
    def test_what_is_no_record(self, rover, tmp_path, content, message):
        path = tmp_path / "some.sqlite"
        if content is not None:
            path.write_bytes(content)
        code, out, err = rover("report", path)
        assert (code, out) == (2, "")
        assert message in err


class TestCheck:
    @pytest.mark.parametrize("name", ["greenhouse", "rectangle", "roam", "patrol", "cart", "bay", "steel"])
    def test_the_files_of_the_project_are_right(self, rover, name):
        code, out, err = rover("check", CONFIG / f"{name}.yaml")
        assert code == 0, err
        assert out

    def test_this_computer(self, rover):
        code, out, _ = rover("check")
        assert code == 0
        assert out.startswith("rover")


@pytest.mark.parametrize("arguments", [(), ("--help",), ("rehearse", "--help"), ("--version",)])
def test_help_is_given(rover, arguments):
    code, out, err = rover(*arguments)
    assert code in (0, 2)
    assert "rover" in out + err


def test_an_unknown_command(rover):
    code, _, err = rover("rehearsal")
    assert code == 2
    assert "rehearsal" in err


def endless(folder):
    """Write an errand that stands still for longer than any test; return its path."""
    (folder / "wait.yaml").write_text(
        "behaviour: Wait\nstart: wait\nstates:\n"
        "  wait: {does: stand_still, exits: [{after: 3 h, go: over}]}\n  over: {final: done}\n",
        encoding="utf-8",
    )
    for name in ("cart.yaml", "empty.yaml"):
        (folder / name).write_bytes((CONFIG / name).read_bytes())
    errand = folder / "errand.yaml"
    errand.write_text(
        "errand: Wait\nfiles: {robot: cart.yaml, behaviour: wait.yaml, bench: empty.yaml}\n"
        "field: {boundary: [[0 m, 0 m], [4 m, 0 m], [4 m, 3 m]], start: {x: 2 m, y: 1 m}}\n",
        encoding="utf-8",
    )
    return errand


def until_running(process, folder):
    """Return the record once the first samples of the run have been committed to it."""
    while process.poll() is None:
        for record in folder.glob("runs/*.sqlite"):
            if has_samples(record):
                return record
    raise AssertionError(process.communicate()[1])


def has_samples(record):
    try:
        return bool(read(record).track)
    except RecordError:
        return False


@pytest.mark.parametrize(
    ("number", "code", "message"), [(signal.SIGINT, 130, "interrupted"), (signal.SIGTERM, 143, "terminated")]
)
def test_a_signal_ends_the_run_and_leaves_a_whole_record(tmp_path, number, code, message):
    process = subprocess.Popen(
        [*COMMAND, "rehearse", str(endless(tmp_path)), "--json"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    with process:
        record = until_running(process, tmp_path)
        process.send_signal(number)
        out, err = process.communicate(timeout=TIME_LIMIT_S)
    assert (process.returncode, out) == (code, "")
    assert message in err
    assert "Traceback" not in err
    assert read(record).outcome.result == "stopped"


def test_the_emulator_speaks_on_the_port_that_it_names(tmp_path):
    process = subprocess.Popen(
        [*COMMAND, "emulate", str(CONFIG / "cart.yaml")],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    with process:
        port = process.stdout.readline().removeprefix("link 'main': ").strip()
        heard = first_bytes(port, 40)
        process.send_signal(signal.SIGINT)
        _, err = process.communicate(timeout=TIME_LIMIT_S)
    assert b"$PXFR" in heard
    assert process.returncode == 130
    assert "Traceback" not in err
    assert not Path(port).exists()


def first_bytes(port, count):
    descriptor = os.open(port, os.O_RDWR | os.O_NOCTTY)
    try:
        tty.setraw(descriptor)
        heard = b""
        while len(heard) < count and select.select([descriptor], [], [], TIME_LIMIT_S)[0]:
            heard += os.read(descriptor, 4096)
        return heard
    finally:
        os.close(descriptor)


def test_emulating_a_robot_without_links(rover, tmp_path):
    text = (CONFIG / "cart.yaml").read_text("utf-8")
    (tmp_path / "cart.yaml").write_text(
        text.replace("links:\n  main: {port: /dev/ttyUSB0, baud: 115200}\n", "").replace(
            "co_processor, link: main", "simulated"
        ),
        encoding="utf-8",
    )
    code, _, err = rover("emulate", "cart.yaml")
    assert code == 2
    assert "no 'links:'" in err
