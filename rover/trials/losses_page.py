"""The matrix of losses as one HTML page: a letter for each cell, and behind it what happened, with its command."""

from collections.abc import Sequence
from pathlib import Path
from xml.etree.ElementTree import Element

from rover.report.document import add_heading, add_sections, new_page, write_page
from rover.report.markup import add
from rover.trials.losses import Matrix, Outcome, columns, in_words
from rover.trials.losses_text import place_of
from rover.trials.verdict import DONE, ENDED, RULES, STOPPED, WRONG
from rover.trials.verdict import in_words as time_in_words

LETTERS = {DONE: "D", ENDED: "E", STOPPED: "S", WRONG: "W"}
"""The sign of each; its tint only helps: it is darker the worse, in grey print too."""
STYLE = """
.wide { overflow-x: auto }
table.letters { min-width: 0; font-size: 12px }
table.letters th, table.letters td { padding: 1px 0; border-left: 1px solid #e7e4d8; text-align: center }
table.letters th[scope=row], table.losses th[scope=row] { text-align: left; white-space: nowrap; padding-right: 8px;
  font-style: normal; vertical-align: top; border-bottom: 1px solid #d3cfbf; border-left: 0 }
table.letters .first, table.losses .first { border-left: 1px solid #23262b }
.upright { writing-mode: vertical-rl; transform: rotate(180deg); white-space: nowrap; margin: auto; padding: 4px 0 }
table.losses { width: 100%; min-width: 760px; table-layout: fixed; font-size: 13px }
table.losses th[scope=row] { overflow-wrap: anywhere; white-space: normal }
.sign { display: inline-block; width: 1.4em; text-align: center; border: 1px solid #d3cfbf; color: #23262b;
  text-decoration: none; font-size: 12px }
.sign.E { background: #e7e4d8 }
.sign.S { background: #d3cfbf; border-color: #6d6e6c }
.sign.W { background: #23262b; border-color: #23262b; color: #fbf9f3; font-weight: bold }
summary { cursor: pointer; list-style: none }
summary::after { content: " +"; color: #6d6e6c }
details[open] > summary::after { content: " \\2212" }
details p, details pre { font-size: 12px; overflow-wrap: anywhere; white-space: pre-wrap; margin: 3px 0 }
details:target { outline: 2px solid #23262b }
pre { white-space: pre-wrap; overflow-wrap: anywhere; font-size: 12px; margin: 3px 0 10px }
"""


def write_losses(matrix: Matrix, target: Path) -> Path:
    """Write the page to ``target`` and return its path; what was there is replaced.

    Raises:
        OSError: the file cannot be written.
    """
    title = f"Devices lost: {matrix.title}"
    page, body = new_page(title)
    add(body, "style", text=STYLE)
    facts = [("errand", matrix.errand), ("seed", str(matrix.seed)), ("without a loss", matrix.base.verdict.words)]
    add_heading(body, title, matrix.summary, facts)
    devices = [(_device_title(matrix, name), _device_table(matrix, name)) for name in matrix.ways]
    first = [("All of them", _letters(matrix)), ("What is wrong", _wrong(matrix))]
    add_sections(body, [*first, *devices, ("What makes one WRONG", _rules())])
    footer = add(body, "footer")
    for sentence in matrix.left_out:
        add(footer, "p", text=f"Left out: {sentence}.")
    add(footer, "p", text="A device is lost when a state is first entered; times are from then to the end.")
    return write_page(page, target)


def _letters(matrix: Matrix) -> Element:
    """Return the matrix: states from top to bottom, devices and how they are lost from left to right."""
    section = Element("div", {"class": "wide"})
    key = add(section, "p")
    for outcome, letter in LETTERS.items():
        add(key, "span", {"class": f"sign {letter}"}, letter).tail = f" {outcome}   "
    table = add(section, "table", {"class": "letters"})
    head = add(table, "thead")
    names, ways = add(head, "tr"), add(head, "tr")
    add(names, "th", {"rowspan": 2, "scope": "col"}, "lost on entering")
    for device, of_device in matrix.ways.items():
        places = columns(of_device)
        add(names, "th", {"colspan": len(places), "scope": "colgroup", "class": "first"}, device.replace("_", " "))
        for at, (way, lasts) in enumerate(places):
            heading = add(ways, "th", {"scope": "col", "class": "first" if at == 0 else ""})
            add(heading, "div", {"class": "upright"}, f"{way} {in_words(lasts)}")
    body = add(table, "tbody")
    for state in matrix.reached_s:
        row = add(body, "tr")
        add(row, "th", {"scope": "row"}, state)
        for device, of_device in matrix.ways.items():
            for at, (way, lasts) in enumerate(columns(of_device)):
                cell = add(row, "td", {"class": "first" if at == 0 else ""})
                _add_letter(cell, matrix.at(state, device, way, lasts))
    return section


def _add_letter(cell: Element, one: Outcome | None) -> None:
    if one is None:
        cell.text = "\u2013"
        return
    letter = LETTERS[one.verdict.outcome]
    about = {"class": f"sign {letter}", "href": f"#{_name(one)}", "title": f"{place_of(one)}: {one.verdict.short}"}
    add(cell, "a", about, letter)


def _name(one: Outcome) -> str:
    """Return the name of the cell's place in the page."""
    assert one.loss is not None
    return "-".join((one.loss.device, one.loss.way, one.loss.lasts.replace(" ", ""), one.loss.state.replace("/", ".")))


def _device_title(matrix: Matrix, device: str) -> str:
    words = dict.fromkeys(matrix.ways[device].values())
    return f"{device.replace('_', ' ').capitalize()}: {', '.join(words)}"


def _device_table(matrix: Matrix, device: str) -> Element:
    """Return what became of one device's losses; each cell opens."""
    section = Element("div", {"class": "wide"})
    table = add(section, "table", {"class": "losses"})
    head = add(add(table, "thead"), "tr")
    add(head, "th", {"scope": "col"}, "lost on entering")
    places = columns(matrix.ways[device])
    for way, lasts in places:
        add(head, "th", {"scope": "col"}, f"{way} {in_words(lasts)}")
    body = add(table, "tbody")
    for state, at_s in matrix.reached_s.items():
        row = add(body, "tr")
        add(row, "th", {"scope": "row"}, f"{state}, at {time_in_words(at_s)}")
        for way, lasts in places:
            cell = add(row, "td")
            if (one := matrix.at(state, device, way, lasts)) is None:
                cell.text = "\u2013"
            else:
                _add_details(cell, one)
    return section


def _add_details(cell: Element, one: Outcome) -> None:
    letter = LETTERS[one.verdict.outcome]
    details = add(cell, "details", {"id": _name(one)})
    summary = add(details, "summary")
    add(summary, "span", {"class": f"sign {letter}"}, letter).tail = f" {_rest(one)}"
    add(details, "p", text=one.verdict.words)
    add(details, "pre", text=one.command)
    if one.seen.error:
        add(details, "pre", text=one.seen.error)


def _rest(one: Outcome) -> str:
    verdict = one.verdict
    return verdict.kind if verdict.outcome == WRONG else f"after {time_in_words(verdict.after_s)}"


def _wrong(matrix: Matrix) -> Element:
    section = Element("div")
    if not matrix.wrong:
        add(section, "p", {"class": "none"}, "Nothing is.")
    for one in matrix.wrong:
        line = add(section, "p")
        add(line, "span", {"class": "sign W"}, "W").tail = f" {one.verdict.kind}: {place_of(one)}: {one.verdict.words}"
        add(section, "pre", text=one.command)
    return section


def _rules() -> Element:
    heads: Sequence[str] = ("WRONG", "what", "why, and where the line is")
    table = Element("table")
    head = add(add(table, "thead"), "tr")
    for text in heads:
        add(head, "th", {"scope": "col"}, text)
    body = add(table, "tbody")
    for rule in RULES:
        row = add(body, "tr")
        for text in (rule.kind, rule.what, rule.why):
            add(row, "td", text=text.replace("`", ""))
    return table
