"""`rover check FILE`: any of the four kinds of file, by itself or with all that it names. Imports nothing they name."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rover.behaviour.confirmation import BURST, FLICKER, confirmation_costs
from rover.behaviour.model import BehaviourGraph
from rover.behaviour.vocabulary import GRIP
from rover.feasibility.machine import note_numbers_apart, robot_facts
from rover.files import load, shipped, yaml_source
from rover.files.driver_keys import file_of
from rover.files.grip import tellers
from rover.files.load import Loaded
from rover.files.notices import Notices
from rover.files.problems import Problem, warnings_of
from rover.files.robot import Robot
from rover.session.assembly import Assembly, assemble, check_behaviour, simulation_of, user_drivers

NEVER = 1e-6
"""Chances below this are not told apart."""


@dataclass(frozen=True)
class CheckReport:
    """What a check found in a file without mistakes: warnings, and lines to print."""

    warnings: tuple[Problem, ...]
    lines: tuple[str, ...]


def check_file(path: Path) -> CheckReport:
    """Return the report of a file.

    Raises:
        FileProblems: every mistake in it and in the files it names.
    """
    source = yaml_source.read(path, load.show(path))
    kind = load.kind_of(source)
    if kind == "errand":
        return _errand(assemble(path, {}))
    loaded: Loaded[Any] = Loaded(load.build(load.KINDS[kind], source), source)
    if kind == "behaviour":
        graph, warnings = check_behaviour(loaded)
        return CheckReport(warnings, (_summary(graph),))
    if kind == "robot":
        return _robot(path, loaded)
    return CheckReport((), (f"{load.show(path)}: a {kind} file, nothing wrong with it",))


def _robot(path: Path, loaded: Loaded[Robot]) -> CheckReport:
    note_numbers_apart(loaded.model, loaded.source)
    warnings = warnings_of(loaded.source.problems)
    said = "nothing wrong with it" if not warnings else "see above"
    lines = (f"{load.show(path)}: a robot file, {said}", *_own_drivers(loaded.model))
    return CheckReport(warnings, (*lines, *_follows(robot_facts(loaded.model))))


def _follows(facts: Iterable[str]) -> Iterator[str]:
    """Yield facts beneath their heading."""
    yield "what follows from these numbers:"
    yield from (f"  {fact}" for fact in facts)


def _summary(graph: BehaviourGraph) -> str:
    exits = sum(len(state.exits) for state in graph.states.values())
    exits += sum(len(part.always) for part in graph.top.graphs())
    return f"'{graph.title}': {len(graph.states)} states, {exits} exits, every one has a way out"


def _errand(assembly: Assembly) -> CheckReport:
    from rover.feasibility.facts import errand_facts  # these need numpy, and only an errand has a field
    from rover.feasibility.impossible import impossible
    from rover.feasibility.layout import layout_of

    layout = layout_of(assembly.errand, assembly.robot)
    warnings = warnings_of([*assembly.warnings, *impossible(layout, assembly.sources)])
    lines = [f"'{assembly.errand.errand}' with {assembly.robot.robot}", _summary(assembly.graph)]
    lines += _taken(assembly)
    lines += _own_drivers(assembly.robot)
    others = [*assembly.user_activities, *simulation_of(assembly)]
    lines += [f"would load {name} (not loaded by this check)" for name in others]
    lines += _follows(errand_facts(layout, assembly.graph, assembly.bench))
    lines += _notices(assembly.errand.notices)
    lines += _grip(assembly)
    lines += _confirmations(assembly)
    return CheckReport(warnings, tuple(lines))


def _taken(assembly: Assembly) -> Iterator[str]:
    """Yield which file was taken for each that the errand names, and which parts the behaviour has."""
    kinds = {source.name: kind for kind, source in assembly.sources.items()}
    beside = {one.name for source in assembly.sources.values() for one in source.beside}
    yield "files taken:"
    for name in assembly.texts:
        kind = kinds.get(name, "part")
        if name not in beside and kind != "errand":
            yield f"  {kind:<9}  {name}{', which comes with rover' if shipped.is_shipped(Path(name)) else ''}"


def _notices(notices: Notices | None) -> Iterator[str]:
    """Yield what a run sends to whom, and what this computer lacks for it; nothing is sent."""
    if notices is None:
        return
    from rover.notices.ways import what_is_missing

    yield f"notices {notices.in_words}; a rehearsal sends none, unless with --notices"
    yield from (f"  on this computer: {lacking}" for lacking in what_is_missing(notices))


def _own_drivers(robot: Robot) -> Iterator[str]:
    for driver in user_drivers(robot):
        file = file_of(driver)
        keys = "keys taken as written, for nothing declares them" if file is None else f"keys by {load.show(file)}"
        yield f"would load {driver} (not loaded by this check; {keys})"


def _grip(assembly: Assembly) -> Iterator[str]:
    """Yield what tells that the jaws hold something, for a behaviour that goes by it or sets things down."""
    graph, robot = assembly.graph, assembly.robot
    by_grip = any(GRIP in one.devices for one in graph.exits())
    if not by_grip and all(state.activity != "set_down" for state in graph.states.values()):
        return
    said: dict[str, list[str]] = {}
    for name, kind in assembly.errand.kinds.items():
        for one in tellers(robot, kind):
            what = f"{one.device}: no, {one.why_not}" if one.why_not else f"{one.device}: {one.by}"
            said.setdefault(what, []).append(name)
    if said:
        yield "what tells whether the jaws hold something:"
    for what, names in said.items():
        of_some = "" if len(names) == len(assembly.errand.kinds) else f" (of {', '.join(names)})"
        yield f"  {what}{of_some}"


def _confirmations(assembly: Assembly) -> Iterator[str]:
    rows = list(confirmation_costs(assembly.graph, assembly.robot, assembly.errand.kinds))
    if not rows:
        return
    yield "what each confirmation buys: how late it decides at best, and how likely wrong samples pass it, each"
    yield f"wrong by itself with a chance of {FLICKER:.0%}, or {BURST} of them in a row (to compare by; not measured):"
    yield f"  delay (s)   flicker {FLICKER:.0%} passes   burst of {BURST} passes   exit"
    for row in rows:
        yield (
            f"  {row.added_delay_s:9.2f}   {_chance(row.independent):>17}   {_chance(row.burst):>17}   "
            f"{row.where}: {row.text}"
        )


def _chance(chance: float) -> str:
    return f"{chance:.2g}" if chance >= NEVER else f"< {NEVER:g}"
