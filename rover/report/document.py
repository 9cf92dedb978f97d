"""A page that needs nothing else, neither network nor scripts: what all such pages have."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element, tostring

from rover.report.look import STYLE
from rover.report.markup import add
from rover.report.table import Table, table_element
from rover.report.view import NARROW, WIDTH


@dataclass(frozen=True)
class Picture:
    """A picture that can be drawn in any width; ``zoomable``: there is more in it than a page shows at once."""

    draw: Callable[[float], Element]
    zoomable: bool = False


@dataclass(frozen=True)
class Section:
    """A part of a page beneath its name, which also names its files: a table, a picture, or what a page alone has."""

    name: str
    content: Table | Picture | Element


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


def element_of(section: Section) -> Element:
    """Return what a page shows of a section; of a picture one for a wide page, and one for a phone."""
    content = section.content
    if isinstance(content, Table):
        return table_element(content)
    if isinstance(content, Element):
        return content
    whole = Element("div", {"class": "picture"})
    if content.zoomable:
        _add_zoom(whole, section.name)
    for name, width in (("wide", WIDTH), ("narrow", NARROW)):
        add(whole, "figure", {"class": name}).append(content.draw(width))
    return whole


def _add_zoom(whole: Element, name: str) -> None:
    """Add a choice of how large the picture is; the page's style does the rest, and a printed page has none of it."""
    line = add(whole, "p", {"class": "zoom"})
    for times, text in (("1", "whole"), ("2", "twice as large"), ("4", "four times")):
        label = add(line, "label")
        checked = {"checked": ""} if times == "1" else {}
        add(label, "input", {"type": "radio", "name": f"zoom {name}", "value": times, **checked}).tail = text


def write_page(page: Element, target: Path) -> Path:
    """Write a page to ``target`` and return its path; what was there is replaced.

    Raises:
        OSError: the file cannot be written.
    """
    target.write_text(f"<!DOCTYPE html>\n{tostring(page, encoding='unicode', method='html')}\n", encoding="utf-8")
    return target
