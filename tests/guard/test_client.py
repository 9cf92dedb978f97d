"""Where a guard is looked for."""

import os
from pathlib import Path

import pytest

from rover.guard.client import default_folder

NOBODY = 65534


def seen_by_nobody(environment: dict[str, str]) -> Path:
    """Return the default folder of a process without rights; what it needs is loaded already."""
    answer, words = os.pipe()
    if (child := os.fork()) == 0:
        try:
            if os.getuid() == 0:
                os.setuid(NOBODY)
            os.environ.update(environment)
            os.write(words, str(default_folder()).encode())
        except OSError as error:
            os.write(words, f"/{error}".encode())
        finally:
            os._exit(0)
    os.close(words)
    os.waitpid(child, 0)
    with os.fdopen(answer) as told:
        return Path(told.read())


def test_a_service_has_its_guard_in_its_own_folder(folder, monkeypatch):
    monkeypatch.setenv("RUNTIME_DIRECTORY", f"{folder}:/run/another")
    assert default_folder() == folder / "guard"


@pytest.mark.parametrize("mode", [0o000, 0o500], ids=["closed to it", "not to be written in"])
def test_a_folder_that_the_user_cannot_use_is_passed_over(folder, mode):
    """A service with ProtectHome=yes has its user's folder below /run/user shut, so that looking into it fails."""
    folder.chmod(0o755)
    (folder / "runtime").mkdir()
    if os.getuid() == 0:
        os.chown(folder / "runtime", NOBODY, NOBODY)
    (folder / "runtime").chmod(mode)
    runtime = folder / "runtime" / ("" if mode else "rover")
    assert seen_by_nobody({"RUNTIME_DIRECTORY": str(runtime)}) == seen_by_nobody({})


def test_a_folder_of_someone_else_is_passed_over(folder):
    folder.chmod(0o777)
    expected_here = os.getuid() != 0
    assert (folder in seen_by_nobody({"RUNTIME_DIRECTORY": str(folder)}).parents) is expected_here
