"""Devices of no family: what the robot file declares of a device of a person's own."""

from collections.abc import Mapping
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, Field, model_validator

from rover import quantities
from rover.devices.keys import DeviceKeys
from rover.devices.signals import DeviceSignal
from rover.devices.with_driver import Declared, WithDriver, is_dotted
from rover.errors import in_short
from rover.files.problems import nearest
from rover.files.types import Due, KeyMistakeError, Model, Text, ValueMistakeError, must, why_no_name
from rover.kinds import NOT_KNOWN, Choice, Kind, Number, Truth

KINDS: dict[str, Kind] = {"yes or no": Truth(), "whole number": Number(whole=True), "number": Number()}
DUE = "'yes or no', 'whole number', 'number', a unit such as cm or deg/s, or words such as [dark, light]"
RESERVED = ("ok",)
"""Conditions read ``<device>.ok`` of every device: it is healthy."""
LARGEST = 2**62
"""No number is larger: the record's columns take no more, and it still goes into a float."""


class OwnKind(NamedTuple):
    """Kind of a signal, and how much one of the unit in which it is reported is in SI units."""

    kind: Kind
    factor: float = 1.0


def _own_kind(value: object) -> OwnKind:
    if isinstance(value, OwnKind):
        return value
    if isinstance(value, list):
        return OwnKind(Choice(_words(value)))
    if not isinstance(value, str):
        raise ValueError(f"the kind of a signal is due here: {DUE}")
    if value in KINDS:
        return OwnKind(KINDS[value])
    try:
        dimension, factor = quantities.parse_unit(value)
    except quantities.QuantityError:
        hint = nearest(value, (*KINDS, *quantities.UNITS))
        raise ValueError(f"'{value}' is no kind of signal{hint}; it is one of {DUE}") from None
    return OwnKind(Number(dimension), factor)


def _words(words: list[Any]) -> frozenset[str]:
    for word in words:
        if not isinstance(word, str) or (why := why_no_name(word)):
            raise ValueError(f"'{word}' is no word that a condition could name: {why or 'put it in quotes'}")
    if len(set(words)) < 2:
        raise ValueError("a signal that is one of some words needs two different ones or more")
    return frozenset(words)


class OwnSignal(Model):
    """A signal of one's own: ``pressed: yes or no``, or ``depth: {kind: cm, about: water under the cart}``."""

    kind: Annotated[OwnKind, BeforeValidator(_own_kind), Due("\N{EN DASH}")]
    """`yes or no`, `whole number`, `number`, the unit in which it is reported (`mm`, `deg/s`, `%`), or its words:
    `[dark, light]`."""
    about: Text = "as the robot file declares it"
    """One line about it."""

    def is_possible(self, value: object) -> bool:
        """Tell whether a driver may report a value for it; None is a value that is not known now."""
        match self.kind.kind:
            case Truth():
                return value is None or isinstance(value, bool)
            case Choice(words):
                return value is None or (words is not None and isinstance(value, str) and value in words)
            case Number(whole=True):
                return value is None or (isinstance(value, int) and _is_number(value))
        return value is None or (isinstance(value, (int, float)) and _is_number(value))

    def in_si(self, value: Any) -> Any:
        """Return a value as conditions read it."""
        if value is None:
            return NOT_KNOWN
        return value * self.kind.factor if self.kind.factor != 1.0 else value


def _is_number(value: float) -> bool:
    """Tell whether a value is no yes or no, and if it is whole, not too large."""
    return not isinstance(value, bool) and (isinstance(value, float) or -LARGEST <= value <= LARGEST)


def _block(value: object) -> object:
    return value if isinstance(value, (dict, OwnSignal)) else {"kind": value}


class OwnDeviceKeys(DeviceKeys):
    """A device of no family, with a driver of one's own.

    The value of its readings is a mapping from its signals' names to their values: true or false, a number in the unit
    declared, or one of the words. A signal that is None or left out is not known.
    """

    driver: Annotated[
        Text, must(is_dotted, "a device of no family has a driver of your own, package.module:Class"), Due("text")
    ]
    signals: Annotated[dict[str, Annotated[OwnSignal, BeforeValidator(_block)]], Field(min_length=1)]
    """What it reports."""
    contact: Literal["front", "rear", "left", "right"] | None = None
    """It is a bumper there. Its one signal that is `yes or no` tells of contact."""

    @classmethod
    def for_driver(cls, driver: object, declared: Declared | None = None) -> type[WithDriver]:
        """See `WithDriver.for_driver`; whatever stands there is meant as a driver of a person's own."""
        return cls.for_own_driver(declared)

    @model_validator(mode="after")
    def _can_be_read(self) -> "OwnDeviceKeys":
        for name in self.signals:
            if why := why_no_name(name, RESERVED):
                raise ValueMistakeError(("signals", name), f"no name for a signal: {why}")
        if self.contact is not None and len(self._truths) != 1:
            raise KeyMistakeError("contact", "this needs exactly one signal that is 'yes or no', to tell of contact")
        return self

    @property
    def _truths(self) -> list[str]:
        return [name for name, one in self.signals.items() if isinstance(one.kind.kind, Truth)]

    def touches(self, value: Mapping[str, Any]) -> bool | None:
        """Tell whether a report of a device with ``contact:`` tells of contact; None: it does not know."""
        touches = value.get(self._truths[0])
        return touches if isinstance(touches, bool) else None

    def why_impossible(self, value: object) -> str:
        """Return why a driver may not report a value, or ''."""
        if not isinstance(value, Mapping):
            return "reports no mapping from its signals to their values"
        for name, one in value.items():
            if name not in self.signals:
                hint = nearest(name, self.signals) if isinstance(name, str) else ""
                return f"reports {in_short(name)}, which the robot file does not declare{hint}"
            if not self.signals[name].is_possible(one):
                return f"reports {in_short(one)} for '{name}', which is {self.signals[name].kind.kind}"
        return ""


def signals_of(keys: OwnDeviceKeys) -> dict[str, DeviceSignal]:
    """Return what conditions read of a device of one's own."""

    def signal(name: str, declared: OwnSignal) -> DeviceSignal:
        def of(value: Mapping[str, Any], keys: OwnDeviceKeys) -> Any:
            return declared.in_si(value.get(name))

        return DeviceSignal(declared.kind.kind, declared.about, of, can_be_unknown=True)

    return {name: signal(name, declared) for name, declared in keys.signals.items()}
