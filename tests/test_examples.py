"""What the pages show can be done: examples are sound, command lines are taken, links lead somewhere."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple

import click
import pytest
import yaml

from rover.activities.registry import specs
from rover.behaviour.build import Builder
from rover.commands.main import commands
from rover.files import load, yaml_source
from rover.files.behaviour import State
from rover.readiness.bring_up import CHECKS
from rover.readiness.files import check_file
from rover.report.mermaid import mermaid
from rover.session.assembly import check_behaviour

ROOT = Path(__file__).parents[1]
PAGES = [
    ROOT / name
    for name in ("README.md", "DEVELOPERS.md", "behaviours/README.md", "config/README.md", "config/TROUBLESHOOTING.md")
]


class Block(NamedTuple):
    """A fenced block: where it stands, its language and its text."""

    where: str
    language: str
    text: str

    @property
    def file(self) -> str | None:
        """The file that it is meant as, where its first line is a comment that says so."""
        match = re.match(r"# (\S+\.(?:yaml|py))\n", self.text)
        return match[1] if match else None


def blocks(page: Path) -> Iterator[Block]:
    text = page.read_text("utf-8")
    for match in re.finditer(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        line = text.count("\n", 0, match.start()) + 1
        yield Block(f"{page.relative_to(ROOT)}:{line}", match[1], match[2])


def tour() -> list[Block]:
    """Return the blocks of the first page's tour, but for the one that installs."""
    page = (ROOT / "README.md").read_text("utf-8")
    start, end = (page.index(heading) for heading in ("## The first ten minutes\n", "## Use it\n"))
    before, within = page.count("\n", 0, start), page.count("\n", 0, end)
    lines = {block: int(block.where.partition(":")[2]) for block in blocks(ROOT / "README.md")}
    return [block for block, line in lines.items() if before < line < within and "pip install" not in block.text]


BLOCKS = [block for page in PAGES for block in blocks(page)]
TOUR = tour()
EXAMPLES = [block for block in BLOCKS if block.language == "yaml" and block not in TOUR]
COMMANDS = [
    (block.where, line)
    for block in BLOCKS
    if block.language == "sh" and block not in TOUR
    for line in block.text.splitlines()
    if line.startswith("rover ")
]


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """The project's files, with those that the pages let a reader write."""
    for folder in ("behaviours", "config"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    for block in EXAMPLES:
        if block.file:
            (tmp_path / block.file).write_text(block.text, encoding="utf-8")
    return tmp_path


def merged(base: Any, change: Any) -> Any:
    """Return values with others put into them, block by block."""
    if isinstance(base, dict) and isinstance(change, dict):
        return base | {key: merged(base.get(key), value) for key, value in change.items()}
    return change


def framed(values: dict[str, Any]) -> dict[str, Any]:
    """Return a behaviour round a part of one: the states that it leads to and does not have are final ones."""
    if "states" not in values and set(values) <= set(load.keys_of(State)) - {"always"}:
        values = {"states": {"here": {"does": "drive_to", "with": {"place": "field.start"}, **values}}}
    states = dict(values.get("states", {"here": {"does": "stand_still"}}))
    ways = [*values.get("always", []), *(way for state in states.values() for way in state.get("exits", []))]
    ways += [state["tries"] for state in states.values() if "tries" in state]
    ends = {way["go"]: {"final": "done"} for way in ways if way["go"] not in states}
    return {"behaviour": "An example", **values, "start": next(iter(states)), "states": states | ends}


FRAMES = {"errand": "greenhouse.yaml", "robot": "cart.yaml", "bench": "mild.yaml"}


def check_fragment(values: dict[str, Any], project: Path) -> None:
    """Put a part of a file into a sound one of its kind, and check that."""
    kind = next((kind for kind in FRAMES if set(values) <= set(load.keys_of(load.KINDS[kind]))), None)
    if kind is None or "settings" in values:
        file = project / "behaviours" / "example.yaml"
        file.write_text(yaml.safe_dump(framed(values), sort_keys=False), encoding="utf-8")
        Builder(specs()).build(load.load(file, "behaviour"))
        return
    file = project / "config" / FRAMES[kind]
    file.write_text(
        yaml.safe_dump(merged(yaml_source.read(file, kind).values, values), sort_keys=False), encoding="utf-8"
    )
    check_file(file)


@pytest.mark.parametrize("block", EXAMPLES, ids=[block.where for block in EXAMPLES])
def test_every_example_is_sound(block, project):
    values = yaml_source.read_text(block.text, project, block.where).values
    kind = next(iter(values))
    if kind not in load.KINDS:
        check_fragment(values, project)
        return
    errand = next((one.file for one in EXAMPLES if one.file and block.file and f"../{block.file}" in one.text), None)
    if errand is not None:  # signals of a device of one's own are known where an errand names the robot
        assert check_file(project / errand).warnings == ()
        return
    file = project / (block.file or f"{'behaviours' if kind == 'behaviour' else 'config'}/example.yaml")
    file.write_text(block.text, encoding="utf-8")
    assert check_file(file).warnings == ()


def test_the_graph_shown_is_that_of_the_example_above_it(project):
    (shown,) = (block for block in BLOCKS if block.language == "mermaid")
    graph, _ = check_behaviour(load.load(project / "behaviours/ahead.yaml", "behaviour"))
    assert shown.text == mermaid(graph)


def test_the_bench_example_goes_with_the_errand_of_the_demo(project):
    """A bench file by itself says nothing of kinds; this one is meant for the errand shown beside it."""
    example = next(block for block in EXAMPLES if block.text.startswith("bench:"))
    (project / "config" / "bay.yaml").write_text(example.text, encoding="utf-8")
    check_file(project / "config" / "greenhouse.yaml")


@pytest.mark.parametrize(("where", "line"), COMMANDS, ids=[f"{where} {line}" for where, line in COMMANDS])
def test_every_command_line_can_be_given_and_names_files_that_are_there(where, line, project, monkeypatch):
    """Parsed, not run. A folder of a reader's own drivers is there, as it would be."""
    monkeypatch.chdir(project)
    _, name, *arguments = shlex.split(line, comments=True)
    for option, value in pairwise(arguments):
        if option == "--drivers":
            Path(value).mkdir(exist_ok=True)
    command = commands.get_command(click.Context(commands), name)
    assert command is not None
    command.make_context(name, list(arguments))  # it takes the list apart
    made = {value for option, value in pairwise(arguments) if (name, option) == ("survey", "--errand")}
    assert [one for one in arguments if one.endswith(".yaml") and one not in made and not Path(one).is_file()] == []


def test_the_examples_and_commands_are_found():
    assert {block.where.split(":")[0] for block in EXAMPLES} >= {"behaviours/README.md", "config/README.md"}
    assert {where.split(":")[0] for where, _ in COMMANDS} >= {"README.md", "DEVELOPERS.md", "behaviours/README.md"}


def test_the_tour_of_the_first_page_leads_where_it_says(tmp_path):
    """Each step is done as it stands there; what it shows is what comes, an ellipsis standing for what differs."""
    here, said = tmp_path, ""
    environment = os.environ | {"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}", "HOME": str(tmp_path)}
    for block in TOUR:
        if block.language == "sh":
            ran = subprocess.run(
                ["sh", "-e", "-c", block.text], cwd=here, env=environment, capture_output=True, text=True, check=False
            )
            said = ran.stdout + ran.stderr
            assert ran.returncode == 0, f"{block.where}: {said}"
            here = tmp_path / "my_cart"
        elif block.file:
            (here / block.file).write_text(block.text, encoding="utf-8")
        else:
            for line in block.text.splitlines():
                assert re.search(re.escape(line).replace("…", ".*"), said), f"{block.where}: {line}\n{said}"
    assert len(TOUR) > 10


def anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.*)$", page.read_text("utf-8"), re.MULTILINE)
    return {re.sub(r"[^a-z0-9 _-]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES, ids=[str(page.relative_to(ROOT)) for page in PAGES])
def test_every_link_leads_somewhere(page):
    for target in re.findall(r"\]\(([^):]+)\)", page.read_text("utf-8")):
        name, _, anchor = target.partition("#")
        linked = page.parent / name if name else page
        assert linked.exists(), target
        assert not anchor or anchor in anchors(linked), target


def test_what_troubleshooting_names_is_explained_on_the_reference_pages():
    """Keys and signals are in code letters there; commands exist, and so do the checks of bring-up."""
    page = (ROOT / "config/TROUBLESHOOTING.md").read_text("utf-8")
    explained = "".join((ROOT / folder / "README.md").read_text("utf-8") for folder in ("config", "behaviours"))
    names = set(re.findall(r"`([a-z_]{2,}(?:\.[a-z_]+)?):?`", re.sub(r"(?ms)^```.*?^```$", "", page)))
    assert len(names) > 30
    assert [name for name in sorted(names) if not re.search(rf"`(\w+\.)?{re.escape(name)}[:`]", explained)] == []
    for command in re.findall(r"rover ([a-z-]+)", page):
        assert commands.get_command(click.Context(commands), command) is not None, command
    assert set(re.findall(r"--only (\w+)", page)) <= set(CHECKS)


def test_the_first_page_names_the_tests_and_how_long_they_take():
    page = (ROOT / "README.md").read_text("utf-8")
    assert re.search(r"`tools/test\.sh`[^.]* minutes", page)


@pytest.mark.skipif(shutil.which("sqlite3") is None, reason="needs sqlite3: apt install sqlite3")
def test_looking_into_a_record_by_hand_makes_no_file(tmp_path):
    """Where there is no record yet, or its name is mistyped."""
    lines = [line for block in BLOCKS for line in block.text.splitlines() if line.startswith("sqlite3 ")]
    assert lines
    for line in lines:
        subprocess.run(["sh", "-c", line], cwd=tmp_path, capture_output=True, check=False)
        subprocess.run(
            ["sh", "-c", re.sub(r'"[$].*?"', "no.sqlite", line)], cwd=tmp_path, capture_output=True, check=False
        )
        assert list(tmp_path.iterdir()) == []


def test_the_wiring_fits_the_window_that_it_is_opened_in():
    """An SVG without width and height takes the room there is."""
    tag = re.search(r"<svg [^>]*>", (ROOT / "config/wiring.svg").read_text("utf-8"))
    assert tag is not None
    assert "viewBox=" in tag[0]
    assert not re.search(r"\s(width|height)=", tag[0])
