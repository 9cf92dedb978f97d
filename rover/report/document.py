"""A page that needs nothing else, neither network nor scripts: what all such pages have."""

from collections.abc import Iterable
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

from rover.report.look import STYLE
from rover.report.markup import add


def new_page(title: str) -> tuple[Element, Element]:
    """Return a page in the look of the report, and its body, which is empty."""
    page = Element("html", {"lang": "en"})
    head = add(page, "head")
    add(head, "meta", {"charset": "utf-8"})
    add(head, "meta", {"name": "viewport", "content": "width=device-width"})
    add(head, "title", text=title)
    add(head, "style", text=STYLE)
    return page, add(page, "body")


def add_heading(body: Element, title: str, outcome: str, facts: Iterable[tuple[str, str]]) -> None:
    """Add the title, what came of it, and facts beneath their names."""
    add(body, "h1", text=title)
    add(body, "p", {"class": "outcome"}, outcome)
    listed = add(body, "dl")
    for name, text in facts:
        pair = add(listed, "div")
        add(pair, "dt", text=name)
        add(pair, "dd", text=text)


def add_sections(body: Element, sections: Iterable[tuple[str, Element]]) -> None:
    """Add each section beneath its name."""
    for name, section in sections:
        add(body, "h2", text=name)
        body.append(section)


def write_page(page: Element, target: Path) -> Path:
    """Write a page to ``target`` and return its path; what was there is replaced.

    Raises:
        OSError: the file cannot be written.
    """
    target.write_text(f"<!DOCTYPE html>\n{tostring(page, encoding='unicode', method='html')}\n", encoding="utf-8")
    return target
