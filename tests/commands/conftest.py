"""Commands in this process, where only text and exit code count."""

import signal

import pytest

from rover.commands import main as cli


@pytest.fixture(autouse=True)
def signals_as_before():
    """`main` takes SIGTERM and SIGHUP over; give them back."""
    before = {number: signal.getsignal(number) for number in cli.ENDINGS}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


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
