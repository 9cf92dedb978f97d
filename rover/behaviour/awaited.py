"""Which exits a behaviour waits for now, and how far each is. Worked out when asked; a step does nothing for it."""

from collections.abc import Iterator
from functools import cache
from types import CodeType
from typing import NamedTuple

from rover.awaited import Awaited, Lack, Part, Value
from rover.behaviour.compile import Compiler, exits_in_order
from rover.behaviour.expression import FUNCTIONS, Term, negations, truth_of
from rover.behaviour.model import Counted, ExitNode, Lasting
from rover.behaviour.vocabulary import Progress, Signals, devices_of


def awaited(compiler: Compiler, path: str, now_ns: int, signals: Signals) -> tuple[Awaited, ...]:
    """Return the exits of the configuration whose innermost state is at ``path``, first priority first (R1).

    Args:
        compiler: of the behaviour, with its memory as the latest step left it.
        path: of the innermost active state.
        now_ns: the engine's own time, as its step has it.
        signals: as they are now.
    """
    if not path:
        return ()
    return tuple(
        _Looked(compiler, one, scope, now_ns, signals).account(is_silent=silent)
        for one, scope, silent in exits_in_order(compiler.graph, path)
    )


def within(scope: str, exits: tuple[Awaited, ...]) -> tuple[Awaited, ...]:
    """Return those of some exits that were waited for in vain when one of ``scope`` was taken: its own and inner ones.

    Left out are timed ones and those that are silent: nobody waits for them.
    """
    return tuple(
        one
        for one in exits
        if not one.is_silent
        and one.left_s is None
        and (not scope or one.scope == scope or one.scope.startswith(f"{scope}/"))
    )


class UnknownCondition(NamedTuple):
    """An exit that could not be worked out: how often, and the robot times of the first and the last time."""

    text: str
    where: str
    times: int
    first_ns: int
    last_ns: int


def unknown_conditions(compiler: Compiler) -> tuple[UnknownCondition, ...]:
    """Return the exits that could not be worked out so far, in the file's order: not a number, a division by zero."""
    places, memory = compiler.places.unknown, compiler.memory
    counted = (
        (one, memory[place + 1 : place + 4]) for one in compiler.graph.exits() if (place := places.get(one.number))
    )
    return tuple(UnknownCondition(one.text, str(one.where), *counts) for one, counts in counted if counts[0])


class _Looked:
    """One exit, looked at."""

    def __init__(self, compiler: Compiler, one: ExitNode, scope: str, now_ns: int, signals: Signals) -> None:
        self._memory, self._places = compiler.memory, compiler.places
        self._one, self._scope, self._now_ns, self._signals = one, scope, now_ns, signals
        progress = self._memory[self._places.progress[scope]] if scope else Progress.UNDER_WAY
        self._names = {
            **FUNCTIONS,
            "__builtins__": {},
            "s": signals,
            "done": progress == Progress.DONE,
            "failed": progress == Progress.FAILED,
        }

    def account(self, *, is_silent: bool) -> Awaited:
        """Return how far it is."""
        one = self._one
        about = (one.text, str(one.where), one.go, self._scope, is_silent)
        if one.after_ns is not None:
            passed_ns = self._now_ns - self._memory[self._places.entered[self._scope]]
            return Awaited(*about, left_s=(one.after_ns - passed_ns) * 1e-9)
        assert one.when is not None
        parts = tuple(map(self._part, one.when.terms, negations(one.when.tree)))
        lacks = tuple(self._lacks(parts))
        holds = None if lacks else self._holds()
        confirmed, needed, of = self._confirmation()
        near = not lacks and truth_of(one.when.tree, _nearly(parts, tuple(negations(one.when.tree))))
        is_near = near if not holds else of != 1 or confirmed < needed
        return Awaited(*about, holds, lacks, parts, confirmed, needed, of, is_near=is_near)

    def _value(self, code: str) -> Value:
        try:
            value = eval(_compiled(code), self._names)  # source made of a checked tree
        except (ArithmeticError, ValueError):
            return None
        return None if value != value else value

    def _part(self, term: Term, is_negated: bool) -> Part:
        value = self._value(term.value)
        threshold = self._value(term.threshold) if term.threshold else None
        is_known = value is not None and (threshold is not None or not term.threshold)
        holds = bool(self._value(term.code)) is not is_negated if is_known else None
        text = f"not {term.text}" if is_negated else term.text
        return Part(text, holds, value, term.comparison, threshold, term.unit, term.signals)

    def _lacks(self, parts: tuple[Part, ...]) -> Iterator[Lack]:
        """Yield why the whole is not known (R7): a device that is not ok, else a part without a value."""
        signals, memory = self._signals, self._memory
        away = [device for device in self._one.devices if not getattr(signals, f"{device}_ok")]
        for device in away:
            read = [name for name in self._one.signals if device in devices_of(name)]
            yield Lack(read[0] if read else device, device, getattr(signals, f"{device}_t") or None)
        for part in () if away else parts:
            if part.holds is None:
                since_ns = memory[self._places.unknown[self._one.number]]
                yield Lack(", ".join(part.signals) or part.text, "", since_ns or None)

    def _holds(self) -> bool:
        one = self._one
        assert one.when is not None
        if self._value(one.when.code):
            return True
        if one.until is None or self._value(one.until.code):
            return False
        return bool(self._memory[self._places.answer[one.number]])

    def _confirmation(self) -> tuple[float, float, int]:
        """Return confirmed, needed and of, as `Awaited` has them."""
        one, memory = self._one, self._memory
        match one.confirm:
            case Counted(needed=1, of=1):
                return float(memory[self._places.fired[one.number]]), 1.0, 1
            case Counted(needed=needed, of=of):
                return float(memory[self._places.window[one.number]].bit_count()), float(needed), of
            case Lasting(span_ns=span_ns):
                first_ns = memory[self._places.window[one.number]]
                taken_ns = [getattr(self._signals, f"{device}_t") for device in one.devices]
                latest_ns = max(taken_ns) if taken_ns else self._now_ns
                return (0.0 if first_ns < 0 else (latest_ns - first_ns) * 1e-9), span_ns * 1e-9, 0
        raise AssertionError


def _nearly(parts: tuple[Part, ...], negated: tuple[bool, ...]) -> Iterator[bool]:
    """Yield for each part the truth that it has, or nearly has, by itself: as if what is near were as wanted."""
    for part, is_negated in zip(parts, negated, strict=True):
        yield (part.holds is True or part.is_near) is not is_negated


@cache
def _compiled(code: str) -> CodeType:
    return compile(code, "<exit>", "eval")
