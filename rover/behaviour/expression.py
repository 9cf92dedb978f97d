"""A checked expression, and what can be done with it: work it out, or ask which truth values it can have at all."""

import ast
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from rover.behaviour.syntax import full_name
from rover.kinds import Kind
from rover.quantities import wrap

FUNCTIONS: dict[str, Callable[..., float]] = {"abs": abs, "min": min, "max": max, "wrap": wrap}
"""What an expression may call."""


@dataclass(frozen=True)
class Term:
    """A part of a condition that is true or false by itself: one comparison, or a bare yes or no.

    Attributes:
        text: as written.
        code: source of its truth.
        value, comparison, threshold: sources of what is measured and of what it is held against; a bare one has none.
        unit: the one to show both in.
        signals: those it reads.
    """

    text: str
    code: str
    value: str
    comparison: str = ""
    threshold: str = ""
    unit: str = ""
    signals: tuple[str, ...] = ()


@dataclass(frozen=True)
class Expression:
    """A checked expression.

    Attributes:
        text: as written.
        kind: what its value is.
        code: Python source of its value, over ``s`` (signals), ``done`` and ``failed``.
        operands: sources of the numbers compared in it; a NaN in any makes the whole unknown.
        divides: there is a division by something that is not constant.
        signals: names of the signals it reads.
        devices: devices those are read from.
        outcomes: which of ``done`` and ``failed`` it reads.
        tree: its syntax tree.
        terms: of a condition, in the order of writing.
    """

    text: str
    kind: Kind
    code: str
    operands: tuple[str, ...]
    divides: bool
    signals: tuple[str, ...]
    devices: tuple[str, ...]
    outcomes: frozenset[str]
    tree: ast.expr
    terms: tuple[Term, ...] = ()

    @property
    def constant(self) -> bool:
        """No signal and no progress is read."""
        return not self.signals and not self.outcomes


def evaluator(expression: Expression) -> Callable[[Any], Any]:
    """Return a function of the signals that works the expression out (without ``done`` and ``failed``)."""
    names = {**FUNCTIONS, "__builtins__": {}}
    return eval(f"lambda s: {expression.code}", names)  # type: ignore[no-any-return]  # source made of a checked tree


def could_be(expression: Expression, facts: Mapping[str, bool]) -> set[bool]:
    """Return which truth values a condition can have when the named truths are as given and all else is open.

    Names are ``done``, ``failed`` and signals of kind Truth, as the file writes them.
    """
    return _possible(expression.tree, facts)


def _possible(node: ast.expr, facts: Mapping[str, bool]) -> set[bool]:
    match node:
        case ast.BoolOp(op=op, values=values):
            sets = [_possible(value, facts) for value in values]
            stop = isinstance(op, ast.Or)
            if any(part == {stop} for part in sets):
                return {stop}
            return ({stop} if any(stop in part for part in sets) else set()) | (
                {not stop} if all((not stop) in part for part in sets) else set()
            )
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            return {not value for value in _possible(operand, facts)}
        case ast.Constant(value=bool() as truth):
            return {truth}
        case ast.Name(id="true" | "false" as word):
            return {word == "true"}
    name = full_name(node) if isinstance(node, (ast.Name, ast.Attribute)) else None
    return {facts[name]} if name is not None and name in facts else {True, False}


def truth_of(node: ast.expr, truths: Iterator[bool]) -> bool:
    """Return the truth of a condition's tree from those of its terms, in the order of writing; takes them all."""
    match node:
        case ast.BoolOp(op=op, values=values):
            parts = [truth_of(value, truths) for value in values]
            return any(parts) if isinstance(op, ast.Or) else all(parts)
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            return not truth_of(operand, truths)
        case ast.Compare(ops=ops):
            parts = [next(truths) for _ in ops]
            return all(parts)
    return next(truths)


def negations(node: ast.expr, is_negated: bool = False) -> Iterator[bool]:
    """Yield for each term of a condition's tree, in the order of writing, whether it must not be so."""
    match node:
        case ast.BoolOp(values=values):
            for value in values:
                yield from negations(value, is_negated)
        case ast.UnaryOp(op=ast.Not(), operand=operand):
            yield from negations(operand, not is_negated)
        case ast.Compare(ops=ops):
            yield from (is_negated for _ in ops)
        case _:
            yield is_negated


def finite(value: Any) -> bool:
    """Tell whether a worked-out value can be used: not NaN, not infinite."""
    return not isinstance(value, float) or math.isfinite(value)
