"""Conditions and values: text -> checked expression with its Python source.

A safe subset of Python's expressions over signals, settings and quantities. Every node of the syntax tree is looked
at, units are checked, and what is compiled later is source written here from the checked tree, never the text itself.
"""

import ast
import keyword
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rover import quantities
from rover.behaviour.expression import FUNCTIONS, Expression
from rover.behaviour.settings import SettingValue
from rover.behaviour.syntax import ConditionError, full_name, parse
from rover.behaviour.terms import Side, TermList
from rover.behaviour.vocabulary import SIGNALS, Signal, attribute_of
from rover.files.problems import nearest
from rover.kinds import Choice, Kind, Number, Truth
from rover.quantities import Dimension

LARGEST = 1e300
"""Constants stay below this, so that they can be written out again and go into floats."""
_COMPARISONS = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
_ARITHMETIC = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}


@dataclass(frozen=True)
class Scope:
    """The names that stand for something in one place of a file.

    Attributes:
        settings: by name, without ``settings.``.
        outcomes: ``done`` and ``failed`` may be used.
        words: choices that a bare word may mean here.
        signals: signals may be read.
        known: the signals there are; those of a robot's further devices are among them where the robot is known.
        else_known: is said of an unknown one: where it may be known.
    """

    settings: Mapping[str, SettingValue] = field(default_factory=dict)
    outcomes: bool = False
    words: frozenset[str] = frozenset()
    signals: bool = True
    known: Mapping[str, Signal] = field(default_factory=lambda: SIGNALS)
    else_known: str = ""


def read_expression(text: str, scope: Scope) -> Expression:
    """Return the checked expression of a text.

    Raises:
        ConditionError: what is wrong and what to write instead.
    """
    return _Reader(text, scope).read()


def read_condition(text: str, scope: Scope) -> Expression:
    """As `read_expression`, for something that is true or false."""
    expression = read_expression(text, scope)
    if not isinstance(expression.kind, Truth):
        raise ConditionError(f"this is {expression.kind}, not a condition; compare it with something", text)
    return expression


@dataclass(frozen=True)
class _Typed:
    """A part of an expression: its kind, its source and its value where that is constant (None otherwise)."""

    kind: Kind
    code: str
    value: Any = None
    word: bool = False

    @property
    def number(self) -> Number:
        """The kind of a part that `_Reader._number` returned."""
        assert isinstance(self.kind, Number)
        return self.kind


class _Reader:
    def __init__(self, text: str, scope: Scope) -> None:
        self.parsed = parse(text)
        self.scope = scope
        self.signals: dict[str, Signal] = {}
        self.outcomes: set[str] = set()
        self.operands: dict[str, None] = {}
        self._terms = TermList(self.parsed.text, self.signals)
        self.divides = False

    def read(self) -> Expression:
        tree = self.parsed.tree
        result = self._typed(tree)
        if isinstance(result.kind, Truth):
            self._terms.note_bare(tree, result.code)
        if isinstance(tree, ast.Name) and (odd := self._odd_word(result)):
            raise self.parsed.error(tree, odd)
        devices = dict.fromkeys(device for signal in self.signals.values() for device in signal.devices)
        reads = tuple(self.signals), tuple(devices), frozenset(self.outcomes)
        operands = tuple(self.operands)
        sources = (self.parsed.text, result.kind, result.code, operands, self.divides)
        return Expression(*sources, *reads, tree, tuple(self._terms.noted))

    def _typed(self, node: ast.expr) -> _Typed:
        match node:
            case ast.BoolOp():
                return self._bool_op(node)
            case ast.UnaryOp():
                return self._unary(node)
            case ast.BinOp():
                return self._arithmetic(node)
            case ast.Compare():
                return self._compare(node)
            case ast.Call():
                return self._call(node)
            case ast.Name():
                return self._name(node)
            case ast.Attribute():
                return self._dotted(node)
            case ast.Constant(value=bool() as truth):
                return _Typed(Truth(), repr(truth), truth)
        raise self.parsed.error(node, "not allowed here; use and, or, not, comparisons, + - * /, abs, min, max, wrap")

    def _truth(self, node: ast.expr) -> _Typed:
        part = self._typed(node)
        if not isinstance(part.kind, Truth):
            what = "an unknown name" if part.word else str(part.kind)
            raise self.parsed.error(node, f"a yes or no is due here, but this is {what}")
        self._terms.note_bare(node, part.code)
        return part

    def _bool_op(self, node: ast.BoolOp) -> _Typed:
        parts = [self._truth(value) for value in node.values]
        word = " and " if isinstance(node.op, ast.And) else " or "
        return _Typed(Truth(), "(" + word.join(part.code for part in parts) + ")")

    def _unary(self, node: ast.UnaryOp) -> _Typed:
        if isinstance(node.op, ast.Not):
            return _Typed(Truth(), f"(not {self._truth(node.operand).code})")
        if not isinstance(node.op, ast.USub):
            raise self.parsed.error(node, "only 'not' and '-' stand before a value")
        part = self._number(node.operand)
        value = None if part.value is None else -part.value
        return _Typed(part.kind, f"(-{part.code})", value)

    def _number(self, node: ast.expr) -> _Typed:
        part = self._typed(node)
        if not isinstance(part.kind, Number):
            what = self._unknown_name(str(part.value)) if part.word else str(part.kind)
            raise self.parsed.error(node, f"a number is due here, but this is {what}")
        return part

    def _arithmetic(self, node: ast.BinOp, wrapped: bool = False) -> _Typed:
        if type(node.op) not in _ARITHMETIC:
            raise self.parsed.error(node, "only + - * / are allowed between numbers (no modulo, no powers)")
        left, right = self._number(node.left), self._number(node.right)
        constant = left.value is not None and right.value is not None
        if isinstance(node.op, (ast.Add, ast.Sub)):
            dimension = self._same(node, left, right)
            if isinstance(node.op, ast.Sub) and dimension == quantities.ANGLE and not constant and not wrapped:
                why = "a difference of angles needs wrap(...), else 359 deg and 1 deg are far apart"
                raise self.parsed.error(node, why)
        elif isinstance(node.op, ast.Mult):
            dimension = left.number.dimension.times(right.number.dimension)
        else:
            if right.value == 0:
                raise self.parsed.error(node, "divides by zero")
            dimension = left.number.dimension.times(right.number.dimension, -1)
            self.divides = self.divides or right.value is None
        whole = left.number.whole and right.number.whole and not isinstance(node.op, ast.Div)
        code = f"({left.code} {_ARITHMETIC[type(node.op)]} {right.code})"
        return self._folded(Number(dimension, whole), code, constant)

    def _folded(self, kind: Kind, code: str, constant: bool) -> _Typed:
        if not constant:
            return _Typed(kind, code)
        try:
            value = eval(code, {"__builtins__": {}}, dict(FUNCTIONS))  # source made here, of numbers only
        except ZeroDivisionError:
            raise ConditionError("divides by zero", self.parsed.text) from None
        except OverflowError:
            value = math.inf
        if not abs(value) < LARGEST:
            raise ConditionError("too large a number", self.parsed.text)
        return _Typed(kind, repr(value), value)

    def _same(self, node: ast.expr, left: _Typed, right: _Typed) -> Dimension:
        if left.number.dimension == right.number.dimension:
            return left.number.dimension
        other, bare = (left, right) if right.number.dimension == quantities.NONE else (right, left)
        if bare.number.dimension == quantities.NONE and bare.value is not None:
            unit = quantities.units_for(other.number.dimension)
            raise self.parsed.error(node, f"a bare number beside {other.kind}; write its unit ({unit})")
        raise self.parsed.error(node, f"{left.kind} and {right.kind} do not go together")

    def _compare(self, node: ast.Compare) -> _Typed:
        nodes = [node.left, *node.comparators]
        parts = [self._typed(part) for part in nodes]
        codes = []
        for index, operator in enumerate(node.ops):
            if type(operator) not in _COMPARISONS:
                raise self.parsed.error(node, "compare with < <= > >= == !=")
            self._comparable(node, operator, parts[index], parts[index + 1])
            symbol = _COMPARISONS[type(operator)]
            codes.append(f"{parts[index].code} {symbol} {parts[index + 1].code}")
            sides = [Side(one, part.kind, part.code, part.value) for one, part in zip(nodes, parts, strict=True)]
            self._terms.note_comparison(sides[index], sides[index + 1], symbol)
        return _Typed(Truth(), "(" + " and ".join(codes) + ")")

    def _comparable(self, node: ast.Compare, operator: ast.cmpop, left: _Typed, right: _Typed) -> None:
        exact = isinstance(operator, (ast.Eq, ast.NotEq))
        if isinstance(left.kind, Number) and isinstance(right.kind, Number):
            self._same(node, left, right)
            if exact and not (left.kind.whole and right.kind.whole):
                why = "== between measured numbers is hardly ever true; compare abs(a - b) with a width"
                raise self.parsed.error(node, why)
            self._note_measured(left, right)
            return
        if not exact:
            raise self.parsed.error(node, self._odd_word(left, right) or self._no_order(node))
        self._same_words(node, left, right)

    def _no_order(self, node: ast.Compare) -> str:
        """Return which signal cannot be greater or less, and one called like it that can."""
        known = self.scope.known
        for name in (full_name(side) or "" for side in (node.left, *node.comparators)):
            if name in known and not isinstance(known[name].kind, Number):
                like = [one for one in known if one.startswith(f"{name}_") and isinstance(known[one].kind, Number)]
                hint = f"; did you mean '{like[0]}'?" if like else ""
                return f"'{name}' is {known[name].kind}, and only numbers can be greater or less{hint}"
        return "only numbers can be greater or less"

    def _note_measured(self, *parts: _Typed) -> None:
        for part in parts:
            if part.value is None and not part.number.whole:
                self.operands[part.code] = None

    def _same_words(self, node: ast.Compare, left: _Typed, right: _Typed) -> None:
        if isinstance(left.kind, Truth) and isinstance(right.kind, Truth):
            return
        choice, word = (left, right) if right.word else (right, left)
        if not (isinstance(choice.kind, Choice) and not choice.word and isinstance(word.kind, Choice)):
            raise self.parsed.error(node, self._odd_word(left, right) or "these two cannot be compared")
        allowed = choice.kind.words or self.scope.words
        if word.word and allowed and word.value not in allowed:
            raise self.parsed.error(node, f"'{word.value}' is never its value{nearest(str(word.value), allowed)}")

    def _odd_word(self, *parts: _Typed) -> str:
        words = [str(part.value) for part in parts if part.word]
        return f"'{words[0]}' is {self._unknown_name(words[0])}" if words else ""

    def _call(self, node: ast.Call) -> _Typed:
        if not isinstance(node.func, ast.Name) or node.func.id not in FUNCTIONS or node.keywords:
            name = self.parsed.error(node.func, "").part
            raise self.parsed.error(node, f"'{name}' cannot be called here; there are abs, min, max and wrap")
        name = node.func.id
        many = name in ("min", "max")
        if (len(node.args) < 2) if many else (len(node.args) != 1):
            raise self.parsed.error(node, f"{name} takes {'two values or more' if many else 'one value'}")
        inside = node.args[0]
        if name == "wrap" and isinstance(inside, ast.BinOp):
            parts = [self._arithmetic(inside, wrapped=True)]
        else:
            parts = [self._number(argument) for argument in node.args]
        for part in parts[1:]:
            self._same(node, parts[0], part)
        kind = parts[0].number
        if name == "wrap" and kind.dimension != quantities.ANGLE:
            raise self.parsed.error(node, f"wrap takes an angle, but this is {kind}")
        constant = all(part.value is not None for part in parts)
        whole = all(part.number.whole for part in parts)
        self._note_measured(*parts)
        code = f"{name}({', '.join(part.code for part in parts)})"
        return self._folded(Number(kind.dimension, whole), code, constant)

    def _name(self, node: ast.Name) -> _Typed:
        if node.col_offset in self.parsed.quantities and set(node.id) == {"_"}:
            quantity = self.parsed.quantities[node.col_offset]
            whole = not quantity.has_unit and quantity.value == int(quantity.value)
            value: float = int(quantity.value) if whole else quantity.value
            return _Typed(Number(quantity.dimension, whole), repr(value), value)
        if node.id in ("done", "failed"):
            if not self.scope.outcomes:
                raise self.parsed.error(node, f"'{node.id}' tells how a state ended; it is not known here")
            self.outcomes.add(node.id)
            return _Typed(Truth(), node.id)
        if node.id in ("true", "false"):
            return _Typed(Truth(), node.id.capitalize(), node.id == "true")
        return _Typed(Choice(), repr(node.id), node.id, word=True)

    def _unknown_name(self, name: str) -> str:
        if name in self.scope.settings:
            return f"no signal; did you mean 'settings.{name}'?"
        known = [*self.scope.known, *(f"settings.{setting}" for setting in self.scope.settings), "done", "failed"]
        hint = nearest(name, known)
        return f"no signal or setting{hint if 'did you mean' in hint else ''}"

    def _dotted(self, node: ast.Attribute) -> _Typed:
        name = full_name(node)
        if name is None:
            raise self.parsed.error(node, "a dot only joins the parts of a signal's or a setting's name")
        group, _, rest = name.partition(".")
        if group == "settings":
            return self._setting(node, rest)
        signal = self.scope.known.get(name)
        if signal is None:
            raise self.parsed.error(node, f"'{name}' is {self._unknown_name(name)}{self.scope.else_known}")
        if not self.scope.signals:
            raise self.parsed.error(node, "a signal cannot stand here: this value is fixed before the run")
        self.signals[name] = signal
        code = f"s.{attribute_of(name)}"
        if signal.can_be_unknown:
            self.operands[code] = None
        return _Typed(signal.kind, code)

    def _setting(self, node: ast.Attribute, name: str) -> _Typed:
        name = name.lower() if keyword.iskeyword(name.lower()) else name
        setting = self.scope.settings.get(name)
        if setting is None:
            why = f"there is no setting '{name}' in this file{nearest(name, self.scope.settings)}"
            raise self.parsed.error(node, why)
        if setting.faulty:
            raise ConditionError("a setting that is at fault", follows_up=True)
        return _Typed(setting.kind, repr(setting.value), setting.value, word=isinstance(setting.kind, Choice))
