"""What holds for all tests: hypothesis' settings, and that a skipped test says what it lacks.

A reason reads ``needs <what is missing>: <what would bring it>``, and the suite ends with a list of them. Where CI is
set, a skip that an installation would have avoided (``apt install``, ``pip install``) fails the run; one that does not
say what would bring it fails it everywhere.
"""

import os
import re
import signal
from collections import Counter
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# The same examples each time, in as much time as they need: a test that fails does so by a change, not by load or luck.
# `pytest --hypothesis-profile=explore` looks at others.
settings.register_profile("suite", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("explore", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")

# A shell starts what it runs in the background with SIGINT ignored, nohup with SIGHUP, and programs that tests start
# would inherit that.
signal.signal(signal.SIGINT, signal.default_int_handler)
signal.signal(signal.SIGHUP, signal.SIG_DFL)

ROOT = Path(__file__).parents[1]
SAID_WELL = re.compile(r"needs [^:]+: .+")
AVOIDABLE = re.compile(r"\b(apt|pip) install\b")


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the demo's files, and the working folder."""
    for path in (*(ROOT / "config").glob("*.yaml"), *(ROOT / "behaviours").rglob("*.yaml")):
        copy = tmp_path / path.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_text(path.read_text("utf-8"), "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def skipped(reporter: pytest.TerminalReporter) -> Counter[str]:
    """Return the reasons of all skipped tests, and how many tests each skipped."""
    reports = reporter.stats.get("skipped", [])
    return Counter(report.longrepr[2].removeprefix("Skipped: ") for report in reports)


def why_it_fails(reasons: Counter[str], environment: Mapping[str, str]) -> str:
    """Return why these skips fail the run, or nothing."""
    if unclear := [reason for reason in reasons if not SAID_WELL.fullmatch(reason)]:
        return f"a skip says 'needs <what is missing>: <what would bring it>', not {unclear[0]!r}"
    if environment.get("CI") == "true" and any(map(AVOIDABLE.search, reasons)):
        return "CI is set, and could have installed what skipped tests need (above)"
    return ""


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter and session.exitstatus == pytest.ExitCode.OK and why_it_fails(skipped(reporter), os.environ):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if reasons := skipped(terminalreporter):
        terminalreporter.section("skipped, and what would bring it")
        for reason, count in sorted(reasons.items()):
            terminalreporter.line(f"{count:3} {reason}")
        if why := why_it_fails(reasons, os.environ):
            terminalreporter.line(f"FAILED: {why}", red=True)
