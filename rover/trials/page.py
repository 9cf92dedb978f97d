"""The page of a campaign: one HTML file, in the look of the report."""

from collections.abc import Iterable, Iterator
from pathlib import Path
from xml.etree.ElementTree import Element

from rover.report.document import add_heading, add_sections, new_page, write_page
from rover.report.markup import add
from rover.report.table import table
from rover.trials import words
from rover.trials.plots import draw_errors, draw_links, draw_varied
from rover.trials.summary import Summary, VariantSummary


def write_summary(summary: Summary, target: Path) -> Path:
    """Write the page of a campaign to ``target`` and return its path; what was there is replaced.

    Raises:
        OSError: the file cannot be written.
    """
    page, body = new_page(summary.asked.title)
    add_heading(body, summary.asked.title, words.progress(summary), [])
    add_sections(body, _sections(summary))
    add(add(body, "footer"), "p", text=FOOTER)
    return write_page(page, target)


FOOTER = (
    "Shares have Wilson's 95 % interval. Variants are held against the first one by McNemar's exact test, adjusted "
    "(Holm) where there are several, with Newcombe's interval for pairs. Quantiles are by nearest rank. What failures "
    "go with is told by the ranks of each drawn number, as it is and by its distance from the middle, and by the "
    "shares of each word (Mann-Whitney, Fisher), adjusted for how many were looked at."
)


def _sections(summary: Summary) -> Iterator[tuple[str, Element]]:
    yield "In figures", _figures(summary)
    if summary.comparisons:
        yield (
            "Side by side, on the same trials",
            _sentences(words.compared(one, summary) for one in summary.comparisons),
        )
    if summary.asked.compares == "values" and any(one.trials for one in summary.variants):
        yield "Against the value", draw_varied(summary)
    yield "Where it went wrong", _failures(summary)
    for one in summary.variants:
        yield from _sections_of(one, f", {words.called(one.name)}" if len(summary.variants) > 1 else "")
    if summary.worst:
        yield "The trials to look at first", _shown(summary)
    if summary.raised:
        yield "What was raised", _raised(summary)


def _sections_of(one: VariantSummary, about: str) -> Iterator[tuple[str, Element]]:
    if lines := list(words.linked_lines(one)):
        section = _sentences(lines)
        if one.links:
            section.insert(0, draw_links(one.links))
        yield f"What the failures go with{about}", section
    if one.axis_errors is not None:
        yield f"Axis errors at finds{about}", draw_errors(one.axis_errors)


def _figures(summary: Summary) -> Element:
    names = [words.called(one.name) for one in summary.variants]
    return table(["", *(f"+{name}" for name in names)], words.figures(summary), "")


def _failures(summary: Summary) -> Element:
    heads, rows = words.without_empty(words.FAILURE_HEADS, words.failure_cells(summary.failures))
    return table(heads, rows, "Nowhere: no trial failed.")


def _shown(summary: Summary) -> Element:
    section = Element("div")
    for one in summary.worst:
        add(section, "p", text=f"{words.which(one.variant, summary)}seed {one.seed}: {one.what}")
        add(add(section, "p"), "code", text=one.command)
    return section


def _raised(summary: Summary) -> Element:
    section = Element("div")
    for one in summary.raised:
        seeds = ", ".join(map(str, one.seeds))
        add(section, "p", text=f"{words.which(one.variant, summary)}{one.last_line}")
        add(section, "p", text=f"seeds {seeds}")
        add(add(section, "p"), "code", text=one.command)
        if one.traceback:
            add(section, "pre", text=one.traceback)
    return section


def _sentences(lines: Iterable[str]) -> Element:
    section = Element("div")
    for text in lines:
        add(section, "p", text=text)
    return section
