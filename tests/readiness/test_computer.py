import importlib.metadata
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from rover import __version__
from rover.commands import main as cli
from rover.errors import to_install
from rover.readiness import computer
from rover.readiness.computer import BASE, EXTRAS, survey
from rover.readiness.finding import Finding, Verdict


def by_name() -> dict[str, Finding]:
    return {finding.check: finding for finding in survey()}


def test_the_survey_names_the_versions_of_what_is_installed() -> None:
    found = by_name()
    assert found["rover"].measured == __version__
    assert {name: found[name].measured for name in BASE} == {name: importlib.metadata.version(name) for name in BASE}
    assert all(found[name].verdict is Verdict.AS_EXPECTED for name in BASE)


def test_the_base_is_what_the_package_asks_for() -> None:
    asked = importlib.metadata.requires("rover") or []
    assert {text.split(">")[0] for text in asked if "extra ==" not in text} == set(BASE)


def test_every_extra_is_one_that_the_package_has() -> None:
    metadata = importlib.metadata.metadata("rover")
    assert set(EXTRAS) <= set(metadata.get_all("Provides-Extra") or [])
    asked = "\n".join(importlib.metadata.requires("rover") or [])
    assert all(package in asked for package in EXTRAS.values())


def test_whatever_is_not_ready_comes_with_what_to_do() -> None:
    assert all(finding.advice for finding in survey() if finding.verdict is not Verdict.AS_EXPECTED)


def test_a_missing_base_package_fails_the_check(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    version = importlib.metadata.version

    def without_yaml(name: str) -> str:
        if name == "pyyaml":
            raise importlib.metadata.PackageNotFoundError(name)
        return version(name)

    monkeypatch.setattr(importlib.metadata, "version", without_yaml)
    with pytest.raises(SystemExit) as ended:
        cli.main(["check"])
    assert ended.value.code == cli.FAILED
    rows = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    assert rows[rows.index("pyyaml missing installed NOT OK") + 1] == f"{sys.executable} -m pip install pyyaml"


def test_a_missing_extra_does_not_fail_the_check(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(computer, "EXTRAS", {"vision": "no-such-package"})
    with pytest.raises(SystemExit) as ended:
        cli.main(["check"])
    assert ended.value.code == 0
    rows = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    assert rows[rows.index("extra vision not installed where it is used note") + 1] == to_install("vision")


def test_a_device_that_may_be_opened(tmp_path: Path) -> None:
    port = tmp_path / "port"
    port.touch()
    assert computer._access("serial port", port) == Finding(
        "serial port", Verdict.AS_EXPECTED, str(port), "may be opened"
    )


@pytest.fixture
def without_rights() -> Iterator[None]:
    """Ask as somebody else than the administrator: permission goes by the real user, who is put back afterwards."""
    if os.geteuid() == 0:
        os.setresuid(65534, -1, -1)
    yield
    if os.geteuid() == 0:
        os.setresuid(0, -1, -1)


@pytest.mark.usefixtures("without_rights")
def test_a_device_that_may_not_be_opened_names_the_group_to_join(tmp_path: Path) -> None:
    port = tmp_path / "port"
    port.touch()
    port.chmod(0)
    finding = computer._access("serial port", port)
    assert (finding.verdict, finding.measured) == (Verdict.NOTED, f"{port}, permission denied")
    assert finding.advice == (f"sudo usermod -aG {port.group()} $USER, then log in again",)
