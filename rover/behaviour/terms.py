"""The terms of a condition: what it is made of, each part true or false by itself, for the account of an exit."""

import ast
from collections.abc import Container
from typing import Any, NamedTuple

from rover.awaited import shown_in
from rover.behaviour.expression import Term
from rover.behaviour.syntax import full_name, unit_written
from rover.kinds import Kind, Number

MIRRORED = {"<": ">", "<=": ">=", ">": "<", ">=": "<="}


class Side(NamedTuple):
    """One side of a comparison: its part of the tree, kind, source, and value where that is constant."""

    node: ast.expr
    kind: Kind
    code: str
    value: Any


class TermList:
    """The terms of one condition.

    Args:
        text: of the condition.
        signals: names of those that were read so far.

    Attributes:
        noted: the terms so far, in the order of writing.
    """

    def __init__(self, text: str, signals: Container[str]) -> None:
        self.noted: list[Term] = []
        self._whole = text
        self._signals = signals

    def note_bare(self, node: ast.expr, code: str) -> None:
        """Note a yes or no, unless it is made of others."""
        is_not = isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)
        if not is_not and not isinstance(node, ast.BoolOp | ast.Compare):
            self.noted.append(Term(self._text(node), code, code, signals=self._signals_in(node)))

    def note_comparison(self, left: Side, right: Side, operator: str) -> None:
        """Note a comparison: what is measured first, and what it is held against."""
        text = f"{self._text(left.node)} {operator} {self._text(right.node)}"
        code = f"({left.code} {operator} {right.code})"
        signals = self._signals_in(left.node) + self._signals_in(right.node)
        if left.value is not None and right.value is None:
            left, right, operator = right, left, MIRRORED.get(operator, operator)
        unit = unit_written(self._text(right.node))
        if not unit and isinstance(left.kind, Number):
            unit = shown_in(left.kind.dimension)
        self.noted.append(Term(text, code, left.code, operator, right.code, unit, signals))

    def _text(self, node: ast.expr) -> str:
        return self._whole[node.col_offset : node.end_col_offset]

    def _signals_in(self, node: ast.expr) -> tuple[str, ...]:
        names = [full_name(one) for one in ast.walk(node) if isinstance(one, ast.Attribute)]
        return tuple(name for name in names if name is not None and name in self._signals)
