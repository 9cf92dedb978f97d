"""The report of a run: one HTML file."""

from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from xml.etree.ElementTree import Element

from rover.events import Delivery, HealthChange, HoldBack
from rover.record.run import RecordedRun
from rover.record.series import RunSeries
from rover.report import tables
from rover.report.devices import draw_devices, figures_table, loop_table, reports_table
from rover.report.document import Picture, Section, add_heading, add_sections, element_of, new_page, write_page
from rover.report.errors import draw_errors
from rover.report.figures import account_words, delivered_words, errors_of, verdicts_of
from rover.report.floor import read_ground
from rover.report.markup import add
from rover.report.numbers import clock, millimetres
from rover.report.plan import draw_plan
from rover.report.signals import draw_signals
from rover.report.stories import stories_table
from rover.report.surveyed import SURVEYED
from rover.report.timeline import draw_timeline
from rover.report.truth import incidents_table, truth_table


def write_report(run: RecordedRun, target: Path, series: RunSeries | None = None, said: Iterable[str] = ()) -> Path:
    """Write the report of a run to ``target`` and return its path; what was there is replaced.

    Args:
        run: as read.
        target: where to write.
        series: what its devices reported.
        said: what `rover show` says of it: a headline, and paragraphs, indented but for those that are headings.

    Raises:
        RecordError: the record's header is not usable.
        OSError: the file cannot be written.
    """
    page, body = new_page(_title(run))
    add_heading(body, _title(run), _outcome_words(run), _facts(run))
    _add_said(body, said)
    add_sections(body, [(section.name, element_of(section)) for section in sections_of(run, series or RunSeries())])
    _add_footer(body, run)
    return write_page(page, target)


def _add_said(body: Element, said: Iterable[str]) -> None:
    """Add what is said of the run, but for the headline, which the page has in its own way."""
    for paragraph in [*said][1:]:
        is_heading = not paragraph.startswith(" ")
        if words := " ".join(paragraph.split()):
            add(body, "h3" if is_heading else "p", {} if is_heading else {"class": "said"}, words)


def sections_of(run: RecordedRun, series: RunSeries) -> list[Section]:
    """Return what the report of a run has, in its order; ``series``: what its devices reported.

    Raises:
        RecordError: the record's header is not usable.
    """
    return [
        Section("Plan", Picture(partial(draw_plan, read_ground(run.header), run), zoomable=True)),
        Section("Found", tables.finds_table(run)),
        *([Section("Errors of the finds", Picture(partial(draw_errors, run)))] if errors_of(run) else []),
        Section("Set down", tables.deliveries_table(run)),
        Section("Given up", tables.given_up_table(run)),
        *_truth_sections(run),
        Section("States over time", Picture(partial(draw_timeline, run), zoomable=True)),
        Section("States", tables.states_table(run)),
        *_watch_sections(run),
        *_signal_sections(run, series),
        Section("Reports of the devices", reports_table(run, series)),
        Section("The loop", loop_table(run, series)),
        Section("What it came to know of its devices", figures_table(run)),
        Section("Each object", stories_table(run)),
        Section("Changes of state", tables.changes_table(run)),
    ]


def _watch_sections(run: RecordedRun) -> list[Section]:
    strip = Section("Devices over time", Picture(partial(draw_devices, run), zoomable=True))
    has_any = any(isinstance(event, HealthChange | HoldBack) for _, event in run.happenings)
    listed = Section("Devices, hold-backs, stops and notes", tables.watch_table(run))
    return [strip, listed] if has_any else [listed]


def _signal_sections(run: RecordedRun, series: RunSeries) -> list[Section]:
    signals = Section("Signals over time", Picture(partial(draw_signals, run, series), zoomable=True))
    return [signals] if run.track else []


def _truth_sections(run: RecordedRun) -> list[Section]:
    if run.truth is None:
        return []
    return [
        Section("What truly happened", truth_table(run, run.truth)),
        Section("Bumps and touches", incidents_table(run)),
    ]


def _title(run: RecordedRun) -> str:
    return run.header.get("title") or "A run without a title"


def _outcome_words(run: RecordedRun) -> str:
    if run.outcome is None:
        return "The record ends before the run did: no result."
    return f"{run.outcome.result}: {run.outcome.reason}" if run.outcome.reason else run.outcome.result


def _facts(run: RecordedRun) -> list[tuple[str, str]]:
    facts = [
        *(_delivery_facts(run) if _brings(run) else ()),
        ("robot time / min:s", clock(run.ended_ns - run.started_ns)),
        *(_error_facts(run) if run.finds else ()),
    ]
    header = [(name, run.header[name]) for name in ("started", "host", "seed", "version") if run.header.get(name)]
    lost = sum(gap.samples for gap in run.gaps)
    return facts + header + ([("samples lost", str(lost))] if lost else [])


def _brings(run: RecordedRun) -> bool:
    """Tell whether there was anything to bring, as far as is known: of an errand without a tray nothing is left."""
    left = run.outcome.summary.get("left") if run.outcome else 0
    return left is not None or bool(run.events_of(Delivery))


def _delivery_facts(run: RecordedRun) -> Iterator[tuple[str, str]]:
    yield "delivered", delivered_words(run)
    yield "by the robot's own account", account_words(run)
    if run.truth is not None:
        yield "truly in the tray", f"{run.truth.delivered} of {run.truth.objects}"


def _error_facts(run: RecordedRun) -> Iterator[tuple[str, str]]:
    errors = errors_of(run)
    worst = max(errors, key=lambda number: errors[number].larger_axis, default=0)
    off = f"{millimetres(errors[worst].larger_axis)} (find {worst})" if errors else "not known"
    yield "worst axis error / mm", off
    beyond = [str(number) for number, verdict in verdicts_of(run).items() if verdict.is_beyond]
    if beyond:
        yield "beyond the allowance, or not surely within", f"find{'s' * (len(beyond) > 1)} {', '.join(beyond)}"


def _add_footer(body: Element, run: RecordedRun) -> None:
    files = [key.removeprefix("file:") for key in run.header if key.startswith("file:")]
    used = f" Files used: {', '.join(files)}." if files else ""
    if SURVEYED in run.header:
        used += f" True places as measured in {run.header[SURVEYED]}."
    frame = (
        "Places are in the field frame, m: x and y as the errand file has them, angles counter-clockwise from x. An "
        "ellipse holds the true place with 95 %; its semi-axes are half its length and half its width. Errors are "
        "reported place less true place. Times count from the start of the record."
    )
    add(add(body, "footer"), "p", text=frame + used)
