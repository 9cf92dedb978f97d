"""Everything an errand names, loaded and checked: all mistakes of all files at once."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

from rover.activities.activity import Activity
from rover.activities.registry import ACTIVITIES, specs
from rover.behaviour.analysis import examine
from rover.behaviour.build import Builder
from rover.behaviour.model import BehaviourGraph
from rover.behaviour.settings import Override, unknown_settings
from rover.behaviour.vocabulary import SIGNALS, ActivitySpec, signals_of
from rover.devices.registry import load_class
from rover.devices.with_driver import is_dotted
from rover.feasibility.beside import note_mismatches
from rover.files import load
from rover.files.behaviour import Behaviour
from rover.files.bench import BenchFile, fault_mistakes
from rover.files.errand import Errand
from rover.files.given import FAULT_OPTION, NOTHING, OPTION, Given
from rover.files.load import Loaded
from rover.files.problems import FileProblems, Problem, warnings_of
from rover.files.robot import Robot
from rover.files.yaml_source import KeptFiles, Source

MISSING_SPEC = ActivitySpec("a user's own activity, not looked at")


@dataclass(frozen=True)
class Assembly:
    """An errand with all it names.

    Attributes:
        graph: the behaviour, checked against the robot.
        user_activities: dotted names of activities that the behaviour uses.
        warnings: what is probably not meant.
        overrides: settings from the command line, by name.
        given: what stands in place of what the files say.
        without: the safeguard that is left out of a rehearsal, '' for none.
        robot_file: where the robot file is.
        texts: by path as shown, the text of each file used, parts of the behaviour included.
        named: by path as shown, the paths of the files that a file names, by what it says.
        sources: errand, robot, behaviour and bench file as they were read, by kind, for the places of later findings.
    """

    errand: Errand
    robot: Robot
    graph: BehaviourGraph
    bench: BenchFile | None
    user_activities: tuple[str, ...]
    warnings: tuple[Problem, ...]
    overrides: Mapping[str, Any]
    robot_file: Path
    texts: Mapping[str, str]
    named: Mapping[str, Mapping[str, str]]
    sources: Mapping[str, Source]
    given: Given = NOTHING
    without: str = ""


@dataclass(frozen=True)
class KeptErrand:
    """An errand whose files are not on the disk, but in a run's record.

    Attributes:
        name: of the errand file, among ``files``.
        files: as they were used.
        instead: files on the disk that stand in the place of some of these, by kind.
    """

    name: str
    files: KeptFiles
    instead: Mapping[str, Path] = field(default_factory=dict)


def assemble(
    path: Path | KeptErrand,
    overrides: Mapping[str, Any],
    activities: Mapping[str, type[Activity]] = ACTIVITIES,
    given: Given = NOTHING,
) -> Assembly:
    """Load an errand file and the files it names.

    Args:
        path: the errand file, or one that was kept.
        overrides: settings from the command line; they win over the errand file's.
        activities: known activities; a user's own are added once they are imported.
        given: what stands in place of what the files say, for a rehearsal.

    Raises:
        FileProblems: every mistake in any of them.
    """
    errand, instead = _errand(path, given)
    problems = given.problems()
    robot = _named(errand, "robot", problems, given, instead)
    behaviour = _named(errand, "behaviour", problems, instead=instead)
    bench = _named(errand, "bench", problems, given)
    if bench is None and errand.model.files.bench is None and given.needs("bench"):
        option = FAULT_OPTION if given.faults else OPTION
        why = f"{errand.source.path.name} names no 'bench:' under 'files:' to change"
        problems.append(Problem(option, 1, 1, "bench", why))
    settings = _overrides(errand, overrides, problems)
    known = specs(activities, robot.model if robot else None)
    signals = SIGNALS if robot is None else signals_of(robot.model)
    graph, builder = None, Builder(known, errand.model, settings, signals=signals, robot_is_known=robot is not None)
    if behaviour is not None:
        problems += _unknown_overrides(errand, behaviour, overrides)
        try:
            graph = builder.build(behaviour)
        except FileProblems as error:
            problems += error.problems
    note_mismatches(errand, robot, bench, graph)
    if bench is not None:
        _faults_beside(errand, robot, bench, list(graph.states) if graph is not None else [])
    problems += errand.source.problems + (bench.source.problems if bench is not None else [])
    if graph is not None:
        problems += examine(graph, known, robot.model if robot else None, errand.model.kinds)
    if any(not problem.warning for problem in problems) or graph is None or robot is None:
        raise FileProblems(problems)
    named = {"errand": errand, "robot": robot, "behaviour": behaviour, "bench": bench}
    sources = {kind: one.source for kind, one in named.items() if one is not None}
    return Assembly(
        errand.model,
        robot.model,
        graph,
        bench.model if bench else None,
        tuple(builder.user_activities),
        tuple(sorted(set(problems))),
        dict(overrides),
        robot.source.path,
        texts_of([*sources.values(), *builder.parts.values()]),
        {one.name: one.named for one in (*sources.values(), *builder.parts.values())},
        sources,
        given,
    )


def _errand(path: Path | KeptErrand, given: Given) -> tuple[Loaded[Errand], Mapping[str, Path]]:
    """Return an errand file, and what stands in the place of files that it names."""
    if isinstance(path, Path):
        return load.load(path, "errand", given), {}
    return load.loaded(path.files.read(path.name), "errand", given), path.instead


def texts_of(sources: Iterable[Source]) -> dict[str, str]:
    """Return the text of each file and of those read beside it, by path as shown."""
    files = [one for source in sources for one in (source, *source.beside)]
    return {source.name: source.text for source in files}


def _named(
    errand: Loaded[Errand],
    kind: str,
    problems: list[Problem],
    given: Given = NOTHING,
    instead: Mapping[str, Path] = MappingProxyType({}),
) -> Loaded[Any] | None:
    """Return one of the files that an errand names, or the one that stands in its place."""
    text = getattr(errand.model.files, kind)
    if text is None:
        return None
    try:
        if kind in instead:
            return load.load(instead[kind], kind, given)
        return load.follow(errand.source, ("files", kind), kind, text, given)
    except FileProblems as error:
        problems += error.problems
        return None


def check_behaviour(behaviour: Loaded[Behaviour]) -> tuple[BehaviourGraph, tuple[Problem, ...]]:
    """Return the graph of a behaviour file looked at by itself, and warnings.

    Raises:
        FileProblems: every mistake in it.
    """
    graph = Builder(specs(), robot_is_known=False).build(behaviour)
    return graph, warnings_of(examine(graph, specs(), None))


def _overrides(
    errand: Loaded[Errand], from_command_line: Mapping[str, Any], problems: list[Problem]
) -> dict[str, Override]:
    """Return the settings that the errand file and the command line set; the latter win."""

    def on_command_line(name: str, why: str) -> None:
        problems.append(Problem("--set", 1, 1, name, why))

    overrides = {
        name: Override(value, partial(errand.source.report, ("settings", name)))
        for name, value in errand.model.settings.items()
    }
    for name, value in from_command_line.items():
        overrides[name] = Override(value, partial(on_command_line, name))
    return overrides


def _unknown_overrides(
    errand: Loaded[Errand], behaviour: Loaded[Behaviour], overrides: Mapping[str, Any]
) -> list[Problem]:
    for name, why in unknown_settings(errand.model.settings, behaviour.model):
        errand.source.report(("settings", name), why, of_key=True)
    return [Problem("--set", 1, 1, name, why) for name, why in unknown_settings(overrides, behaviour.model)]


def _faults_beside(
    errand: Loaded[Errand], robot: Loaded[Robot] | None, bench: Loaded[BenchFile], states: Collection[str]
) -> None:
    """Note in the bench's source what its fault lines name that the other files do not have."""
    for mistake in fault_mistakes(bench.model, errand.model, None if robot is None else robot.model.devices, states):
        bench.source.report(mistake.place, mistake.why, warning=mistake.warning)


def with_user_activities(
    path: Path | KeptErrand,
    overrides: Mapping[str, Any],
    given: Given = NOTHING,
    loading: Callable[[str], None] = lambda name: None,
) -> tuple[Assembly, Mapping[str, type[Activity]]]:
    """As `assemble`, importing the behaviour's own activities and checking against what they say of themselves.

    ``loading`` is told of each of them before it is imported.

    Raises:
        FileProblems: as `assemble`.
        LoadError: an activity cannot be imported.
    """
    assembly = assemble(path, overrides, given=given)
    if not assembly.user_activities:
        return assembly, ACTIVITIES
    own: dict[str, type[Activity]] = {}
    for name in assembly.user_activities:
        loading(name)
        own[name] = load_class(name, "activity")
        if not isinstance(getattr(own[name], "spec", None), ActivitySpec):
            own[name].spec = MISSING_SPEC
    known = {**ACTIVITIES, **{name: found for name, found in own.items() if found.spec is not MISSING_SPEC}}
    whole = assemble(path, overrides, known, given)  # which takes those that say what they are for known ones
    return replace(whole, user_activities=assembly.user_activities), {**ACTIVITIES, **own}


def loads(assembly: Assembly) -> list[str]:
    """Return the user's own classes that a run of the errand imports, to be shown to the person."""
    return [*user_drivers(assembly.robot), *assembly.user_activities]


def loads_in_rehearsal(assembly: Assembly) -> list[str]:
    """As `loads`, with what a rehearsal imports besides."""
    return [*loads(assembly), *simulation_of(assembly)]


def simulation_of(assembly: Assembly) -> list[str]:
    """Return the user's own simulation on which the errand is rehearsed, if there is one."""
    simulation = assembly.bench and assembly.bench.simulation
    return [simulation] if simulation else []


def user_drivers(robot: Robot) -> list[str]:
    """Return the user's own drivers that the robot file names, which are imported when they are used."""
    named = [device.driver for device in robot.devices.fitted().values() if is_dotted(device.driver)]
    return [*named, *(output.driver for output in robot.outputs.values())]
