"""All visits of one state, and how each ended."""

from collections.abc import Iterator

from rover.diagnosis.evidence import Evidence
from rover.diagnosis.visits import Visit, inside
from rover.diagnosis.words import counted, duration, item, more_on, place, saw
from rover.errors import UserError
from rover.events import StateChange
from rover.files.problems import nearest


def visits_in_words(evidence: Evidence, state: str) -> Iterator[str]:
    """Yield the lines on the visits of a state, by its path.

    Raises:
        UserError: the record has no visit of such a state.
    """
    visits = [visit for visit in evidence.visits if visit.state == state]
    if not visits:
        states = list(dict.fromkeys(visit.state for visit in evidence.visits))
        by_name = [known for known in states if known.rpartition("/")[2] == state]
        hint = f"; did you mean '{by_name[0]}'?" if by_name else nearest(state, states)
        raise UserError(f"--state {state}: the run never was in it{hint}")
    spent = sum(visit.seconds for visit in visits)
    yield f"{state}: {counted(len(visits), 'visit')}, {duration(spent)} in all"
    for number, visit in enumerate(visits, 1):
        yield item(_in_words(evidence, visit), f"{number:4d}  ")


def _in_words(evidence: Evidence, visit: Visit) -> str:
    begin = f"{duration(visit.seconds)} {place(visit.entered, evidence.run)}"
    within = ", ".join(f"{one.state.rpartition('/')[2]} {one.seconds:.1f} s" for one in inside(evidence.visits, visit))
    through = f" Inside: {within}." if within else ""
    return f"{begin}, {_end(evidence, visit)}.{through}"


def _end(evidence: Evidence, visit: Visit) -> str:
    if visit.left is None:
        return "in which the record ends"
    change = visit.left.event
    assert isinstance(change, StateChange)
    exit_taken = f"'{change.exit}'{saw(change)}{more_on(change)}"
    return f"left for '{change.entered}' by {exit_taken} {place(visit.left, evidence.run)}"
