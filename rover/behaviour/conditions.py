"""Conditions and values: text -> checked expression -> Python source.

A safe subset of Python's expressions over signals, settings and quantities. One pass joins a number to the
unit behind it, `ast` parses, every node is looked at, units are checked, and what is compiled later is source
written here from the checked tree, never the text itself.
"""

import ast
import keyword
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from rover import quantities
from rover.behaviour.vocabulary import SIGNALS, Choice, Kind, Number, Signal, Truth, attribute_of
from rover.files.problems import nearest
from rover.quantities import Dimension, Quantity, QuantityError, wrap

LONGEST = 500
LARGEST = 1e300
"""Constants stay below this, so that they can be written out again and go into floats."""
_NUMBER_UNIT = re.compile(rf"(?<![\w.])((?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(\s*({quantities.UNIT_PATTERN}))?")
_SETTING_NAME = re.compile(r"(?<=\bsettings\.)[a-z]+\b")
_COMPARISONS = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
_ARITHMETIC = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}
_FUNCTIONS: dict[str, Callable[..., float]] = {"abs": abs, "min": min, "max": max, "wrap": wrap}


class ConditionError(ValueError):
    """A condition that cannot be used; ``part`` is the text at fault, ``offset`` where it stands in the condition.

    One that ``follows_up`` comes of a mistake that is reported already.
    """

    def __init__(self, why: str, part: str = "", offset: int = 0, *, follows_up: bool = False) -> None:
        self.part = part
        self.offset = offset
        self.follows_up = follows_up
        super().__init__(why)


@dataclass(frozen=True)
class Setting:
    """A setting's value, fixed for a run: SI number, truth or word. A ``faulty`` one is reported already."""

    value: Any
    kind: Kind
    faulty: bool = False


@dataclass(frozen=True)
class Scope:
    """The names that stand for something in one place of a file.

    Attributes:
        settings: by name, without ``settings.``.
        outcomes: ``done`` and ``failed`` may be used.
        words: choices that a bare word may mean here.
    """

    settings: Mapping[str, Setting] = field(default_factory=dict)
    outcomes: bool = False
    words: frozenset[str] = frozenset()
    signals: bool = True


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
    constants: Mapping[str, Any]

    @property
    def constant(self) -> bool:
        """No signal and no progress is read."""
        return not self.signals and not self.outcomes


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


class _Reader:
    """One pass over one expression."""

    def __init__(self, text: str, scope: Scope) -> None:
        self.text = text
        self.scope = scope
        self.quantities: dict[int, Quantity] = {}
        self.signals: dict[str, Signal] = {}
        self.outcomes: set[str] = set()
        self.operands: dict[str, None] = {}
        self.constants: dict[str, Any] = {}
        self.divides = False

    def read(self) -> Expression:
        tree = self._parse()
        result = self._typed(tree)
        if result.word and isinstance(tree, ast.Name):
            raise self._error(tree, f"'{result.value}' is {self._unknown_name(str(result.value))}")
        devices = dict.fromkeys(device for signal in self.signals.values() for device in signal.devices)
        return Expression(
            self.text,
            result.kind,
            result.code,
            tuple(self.operands),
            self.divides,
            tuple(self.signals),
            tuple(devices),
            frozenset(self.outcomes),
            tree,
            self.constants,
        )

    def _parse(self) -> ast.expr:
        if len(self.text) > LONGEST:
            raise ConditionError(f"longer than {LONGEST} characters; split it into several exits", self.text[:40])
        odd = next((character for character in self.text if not " " <= character <= "~"), None)
        if odd is not None:
            raise ConditionError(f"the character {odd!r} has no meaning here", odd, self.text.index(odd))
        joined = _SETTING_NAME.sub(_raised, _NUMBER_UNIT.sub(self._join, self.text))
        try:
            return self._parse_padded(joined) if joined != joined.strip() else ast.parse(joined, mode="eval").body
        except SyntaxError as error:
            offset = max((error.offset or 1) - 1, 0)
            part = self.text[offset : offset + 20]
            raise ConditionError(f"not understood{self._syntax_hint()}", part or self.text, offset) from None
        except (ValueError, RecursionError, MemoryError):
            raise ConditionError("not understood: it nests too deeply or holds a character that no text has") from None

    def _parse_padded(self, joined: str) -> ast.expr:
        start = len(joined) - len(joined.lstrip())
        self.quantities = {offset - start: quantity for offset, quantity in self.quantities.items()}
        self.text = self.text.strip()
        return ast.parse(joined.strip(), mode="eval").body

    def _syntax_hint(self) -> str:
        if re.search(r"(?<![<>=!])=(?!=)", self.text):
            return "; '==' compares"
        if "&&" in self.text or "||" in self.text or "!" in self.text.replace("!=", ""):
            return "; write 'and', 'or', 'not'"
        return "; use and, or, not, comparisons, + - * /, brackets, abs, min, max, wrap"

    def _join(self, match: re.Match[str]) -> str:
        """Replace a number (and its unit) by underscores of the same length, noted by where they stand."""
        number, unit = match.group(1), match.group(3)
        length = len(match.group(0))
        unit = self._real_unit(unit, match.end(1))
        kept = len(number) if unit is None else match.group(0).index(unit, len(number)) + len(unit)
        try:
            self.quantities[match.start()] = quantities.parse(number + (unit or ""))
        except QuantityError as error:
            raise ConditionError(str(error), match.group(0), match.start()) from None
        return "_" * kept + match.group(0)[kept:length]

    def _real_unit(self, unit: str | None, offset: int) -> str | None:
        """Return as much of the words behind a number as is a unit; ``2 and``, ``6 m/target.x`` are not one unit."""
        if unit is None or unit == "%":
            return unit
        parts = unit.split("/")
        if parts[0].partition("^")[0] not in quantities.UNITS:
            if keyword.iskeyword(parts[0]):
                return None
            hint = nearest(parts[0], quantities.UNITS)
            raise ConditionError(f"'{parts[0]}' is not a unit{hint}", parts[0], offset + 1)
        known = [parts[0]]
        for part in parts[1:]:
            if part.partition("^")[0] not in quantities.UNITS:
                break
            known.append(part)
        return "/".join(known)

    def _error(self, node: ast.AST, why: str) -> ConditionError:
        start = getattr(node, "col_offset", 0)
        end = getattr(node, "end_col_offset", None) or len(self.text)
        return ConditionError(why, self.text[start:end], start)

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
        raise self._error(node, "not allowed here; use and, or, not, comparisons, + - * /, abs, min, max, wrap")

    def _truth(self, node: ast.expr) -> _Typed:
        part = self._typed(node)
        if not isinstance(part.kind, Truth):
            what = "an unknown name" if part.word else str(part.kind)
            raise self._error(node, f"a yes or no is due here, but this is {what}")
        return part

    def _bool_op(self, node: ast.BoolOp) -> _Typed:
        parts = [self._truth(value) for value in node.values]
        word = " and " if isinstance(node.op, ast.And) else " or "
        return _Typed(Truth(), "(" + word.join(part.code for part in parts) + ")")

    def _unary(self, node: ast.UnaryOp) -> _Typed:
        if isinstance(node.op, ast.Not):
            return _Typed(Truth(), f"(not {self._truth(node.operand).code})")
        if not isinstance(node.op, ast.USub):
            raise self._error(node, "only 'not' and '-' stand before a value")
        part = self._number(node.operand)
        value = None if part.value is None else -part.value
        return _Typed(part.kind, f"(-{part.code})", value)

    def _number(self, node: ast.expr) -> _Typed:
        part = self._typed(node)
        if not isinstance(part.kind, Number):
            what = self._unknown_name(str(part.value)) if part.word else str(part.kind)
            raise self._error(node, f"a number is due here, but this is {what}")
        return part

    def _arithmetic(self, node: ast.BinOp, wrapped: bool = False) -> _Typed:
        if type(node.op) not in _ARITHMETIC:
            raise self._error(node, "only + - * / are allowed between numbers (no modulo, no powers)")
        left, right = self._number(node.left), self._number(node.right)
        assert isinstance(left.kind, Number)
        assert isinstance(right.kind, Number)
        constant = left.value is not None and right.value is not None
        if isinstance(node.op, (ast.Add, ast.Sub)):
            dimension = self._same(node, left, right)
            if isinstance(node.op, ast.Sub) and dimension == quantities.ANGLE and not constant and not wrapped:
                raise self._error(node, "a difference of angles needs wrap(...), else 359 deg and 1 deg are far apart")
        elif isinstance(node.op, ast.Mult):
            dimension = left.kind.dimension.times(right.kind.dimension)
        else:
            if right.value == 0:
                raise self._error(node, "divides by zero")
            dimension = left.kind.dimension.times(right.kind.dimension, -1)
            self.divides = self.divides or right.value is None
        whole = left.kind.whole and right.kind.whole and not isinstance(node.op, ast.Div)
        code = f"({left.code} {_ARITHMETIC[type(node.op)]} {right.code})"
        return self._folded(Number(dimension, whole), code, constant)

    def _folded(self, kind: Kind, code: str, constant: bool) -> _Typed:
        if not constant:
            return _Typed(kind, code)
        try:
            value = eval(code, {"__builtins__": {}}, dict(_FUNCTIONS))  # source made here, of numbers only
        except ZeroDivisionError:
            raise ConditionError("divides by zero", self.text) from None
        except OverflowError:
            value = math.inf
        if not abs(value) < LARGEST:
            raise ConditionError("too large a number", self.text)
        return _Typed(kind, repr(value), value)

    def _same(self, node: ast.AST, left: _Typed, right: _Typed) -> Dimension:
        assert isinstance(left.kind, Number)
        assert isinstance(right.kind, Number)
        if left.kind.dimension == right.kind.dimension:
            return left.kind.dimension
        pair = (left, right) if right.kind.dimension == quantities.NONE else (right, left)
        if pair[1].kind.dimension == quantities.NONE and pair[1].value is not None:  # type: ignore[union-attr]
            unit = quantities.units_for(pair[0].kind.dimension)  # type: ignore[union-attr]
            raise self._error(node, f"a bare number beside {pair[0].kind}; write its unit ({unit})")
        raise self._error(node, f"{left.kind} and {right.kind} do not go together")

    def _compare(self, node: ast.Compare) -> _Typed:
        nodes = [node.left, *node.comparators]
        parts = [self._typed(part) for part in nodes]
        codes = []
        for index, operator in enumerate(node.ops):
            if type(operator) not in _COMPARISONS:
                raise self._error(node, "compare with < <= > >= == !=")
            self._comparable(node, operator, parts[index], parts[index + 1])
            codes.append(f"{parts[index].code} {_COMPARISONS[type(operator)]} {parts[index + 1].code}")
        return _Typed(Truth(), "(" + " and ".join(codes) + ")")

    def _comparable(self, node: ast.Compare, operator: ast.cmpop, left: _Typed, right: _Typed) -> None:
        exact = isinstance(operator, (ast.Eq, ast.NotEq))
        if isinstance(left.kind, Number) and isinstance(right.kind, Number):
            self._same(node, left, right)
            if exact and not (left.kind.whole and right.kind.whole):
                raise self._error(
                    node, "== between measured numbers is hardly ever true; compare abs(a - b) with a width"
                )
            for part in (left, right):
                if part.value is None and not (isinstance(part.kind, Number) and part.kind.whole):
                    self.operands[part.code] = None
            return
        if not exact:
            raise self._error(node, self._odd_word(left, right) or "only numbers can be greater or less")
        self._same_words(node, left, right)

    def _same_words(self, node: ast.Compare, left: _Typed, right: _Typed) -> None:
        if isinstance(left.kind, Truth) and isinstance(right.kind, Truth):
            return
        choice, word = (left, right) if right.word else (right, left)
        if not (isinstance(choice.kind, Choice) and not choice.word and isinstance(word.kind, Choice)):
            raise self._error(node, self._odd_word(left, right) or "these two cannot be compared")
        allowed = choice.kind.words or self.scope.words
        if word.word and allowed and word.value not in allowed:
            raise self._error(node, f"'{word.value}' is never its value{nearest(str(word.value), allowed)}")

    def _odd_word(self, *parts: _Typed) -> str:
        odd = next((part for part in parts if part.word), None)
        return f"'{odd.value}' is {self._unknown_name(str(odd.value))}" if odd else ""

    def _call(self, node: ast.Call) -> _Typed:
        if not isinstance(node.func, ast.Name) or node.func.id not in _FUNCTIONS or node.keywords:
            name = self.text[node.func.col_offset : node.func.end_col_offset]
            raise self._error(node, f"'{name}' cannot be called here; there are abs, min, max and wrap")
        name = node.func.id
        many = name in ("min", "max")
        if (len(node.args) < 2) if many else (len(node.args) != 1):
            raise self._error(node, f"{name} takes {'two values or more' if many else 'one value'}")
        inside = node.args[0]
        if name == "wrap" and isinstance(inside, ast.BinOp):
            parts = [self._arithmetic(inside, wrapped=True)]
        else:
            parts = [self._number(argument) for argument in node.args]
        for part in parts[1:]:
            self._same(node, parts[0], part)
        kind = parts[0].kind
        assert isinstance(kind, Number)
        if name == "wrap" and kind.dimension != quantities.ANGLE:
            raise self._error(node, f"wrap takes an angle, but this is {kind}")
        constant = all(part.value is not None for part in parts)
        whole = all(isinstance(part.kind, Number) and part.kind.whole for part in parts)
        for part in parts:
            if part.value is None and not whole:
                self.operands[part.code] = None
        return self._folded(
            Number(kind.dimension, whole), f"{name}({', '.join(part.code for part in parts)})", constant
        )

    def _name(self, node: ast.Name) -> _Typed:
        if node.col_offset in self.quantities and set(node.id) == {"_"}:
            quantity = self.quantities[node.col_offset]
            whole = not quantity.has_unit and quantity.value == int(quantity.value)
            value: float = int(quantity.value) if whole else quantity.value
            return _Typed(Number(quantity.dimension, whole), repr(value), value)
        if node.id in ("done", "failed"):
            if not self.scope.outcomes:
                raise self._error(node, f"'{node.id}' tells how a state ended; it is not known here")
            self.outcomes.add(node.id)
            return _Typed(Truth(), node.id)
        if node.id in ("true", "false"):
            return _Typed(Truth(), node.id.capitalize(), node.id == "true")
        return _Typed(Choice(), repr(node.id), node.id, word=True)

    def _unknown_name(self, name: str) -> str:
        if name in self.scope.settings:
            return f"no signal; did you mean 'settings.{name}'?"
        known = [*SIGNALS, *(f"settings.{setting}" for setting in self.scope.settings), "done", "failed"]
        hint = nearest(name, known)
        return f"no signal or setting{hint if 'did you mean' in hint else ''}"

    def _dotted(self, node: ast.Attribute) -> _Typed:
        name = _full_name(node)
        if name is None:
            raise self._error(node, "a dot only joins the parts of a signal's or a setting's name")
        group, _, rest = name.partition(".")
        if group == "settings":
            return self._setting(node, rest)
        signal = SIGNALS.get(name)
        if signal is None:
            raise self._error(node, f"'{name}' is {self._unknown_name(name)}")
        if not self.scope.signals:
            raise self._error(node, "a signal cannot stand here: this value is fixed before the run")
        self.signals[name] = signal
        return _Typed(signal.kind, f"s.{attribute_of(name)}")

    def _setting(self, node: ast.Attribute, name: str) -> _Typed:
        name = name.lower() if keyword.iskeyword(name.lower()) else name
        setting = self.scope.settings.get(name)
        if setting is None:
            raise self._error(node, f"there is no setting '{name}' in this file{nearest(name, self.scope.settings)}")
        if setting.faulty:
            raise ConditionError("a setting that is at fault", follows_up=True)
        self.constants[f"settings.{name}"] = setting.value
        return _Typed(setting.kind, repr(setting.value), setting.value, word=isinstance(setting.kind, Choice))


def _raised(match: re.Match[str]) -> str:
    """Return a setting's name so that the parser takes it: one such as ``in`` in capitals, which no name has."""
    return match[0].upper() if keyword.iskeyword(match[0]) else match[0]


def _full_name(node: ast.expr) -> str | None:
    if isinstance(node, ast.Name):
        return node.id if not node.id.startswith("_") else None
    if isinstance(node, ast.Attribute):
        front = _full_name(node.value)
        return None if front is None else f"{front}.{node.attr}"
    return None


def evaluator(expression: Expression) -> Callable[[Any], Any]:
    """Return a function of the signals that works the expression out (without ``done`` and ``failed``)."""
    names = {**_FUNCTIONS, "__builtins__": {}}
    return eval(f"lambda s: {expression.code}", names)  # type: ignore[no-any-return]  # source made in this module


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
    name = _full_name(node) if isinstance(node, (ast.Name, ast.Attribute)) else None
    return {facts[name]} if name is not None and name in facts else {True, False}


def finite(value: Any) -> bool:
    """Tell whether a worked-out value can be used: not NaN, not infinite."""
    return not isinstance(value, float) or math.isfinite(value)
