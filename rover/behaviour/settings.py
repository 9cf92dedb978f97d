"""The settings of a behaviour file: as it declares them, and what stands in their place from elsewhere."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from rover import quantities
from rover.files.behaviour import Behaviour
from rover.files.load import Loaded
from rover.files.problems import nearest
from rover.files.types import NAME_PATTERN
from rover.kinds import Choice, Kind, Number, Truth
from rover.quantities import NONE, QuantityError, units_for


@dataclass(frozen=True)
class SettingValue:
    """A setting's value, fixed for a run: SI number, truth or word. A ``faulty`` one is reported already."""

    value: Any
    kind: Kind
    faulty: bool = False


@dataclass(frozen=True)
class Override:
    """A setting's value from elsewhere, and how to say there that it does not fit."""

    value: Any
    refuse: Callable[[str], None]


def setting_of(value: Any) -> SettingValue:
    """Return a setting's value with its kind, from a value out of a file or the command line.

    Raises:
        QuantityError: it is nothing that a setting can be.
    """
    if isinstance(value, bool):
        return SettingValue(value, Truth())
    if isinstance(value, int):
        return SettingValue(value, Number(whole=True))
    if is_word(value):
        return SettingValue(value, Choice())
    if isinstance(value, (str, float)):
        quantity = quantities.parse(value if isinstance(value, str) else repr(value))
        return SettingValue(quantity.value, Number(quantity.dimension))
    raise QuantityError("a setting is a quantity such as '22 cm', a whole number, true, false or a word")


def is_word(value: Any) -> bool:
    """Tell whether a value can be one of the words that a `Choice` is made of."""
    return isinstance(value, str) and NAME_PATTERN.fullmatch(value) is not None


def same_kind(one: Kind, due: Kind) -> bool:
    """Tell whether a value of one kind can stand where another is due; a whole number may be any number."""
    if isinstance(one, Number) and isinstance(due, Number):
        return one.dimension == due.dimension and (one.whole or not due.whole)
    return type(one) is type(due)


def _unit_due(given: SettingValue, due: SettingValue) -> str:
    """Return the cure of a bare number where a quantity is due."""
    if not (isinstance(given.kind, Number) and given.kind.dimension == NONE and isinstance(due.kind, Number)):
        return ""
    return f"; write its unit ({units_for(due.kind.dimension)})" if due.kind.dimension != NONE else ""


def declared_in(loaded: Loaded[Behaviour], given: Mapping[str, SettingValue]) -> dict[str, SettingValue]:
    """Return the settings of a file: as it declares them, unless given by the ``with`` of what names it."""
    settings = {}
    for name, value in loaded.model.settings.items():
        try:
            settings[name] = given.get(name) or setting_of(value)
        except QuantityError as error:
            loaded.source.report(("settings", name), str(error))
            settings[name] = SettingValue(None, Truth(), faulty=True)
    return settings


def overridden(declared: Mapping[str, SettingValue], overrides: Mapping[str, Override]) -> dict[str, SettingValue]:
    """Return the settings with the overrides in place; one that does not fit is refused where it stands."""
    settings = dict(declared)
    for name, override in overrides.items():
        if name not in declared or declared[name].faulty:
            continue
        try:
            setting = setting_of(override.value)
            if not same_kind(setting.kind, declared[name].kind):
                cure = _unit_due(setting, declared[name])
                raise QuantityError(f"this setting is {declared[name].kind}, but here it is {setting.kind}{cure}")
            settings[name] = setting
        except QuantityError as error:
            override.refuse(str(error))
    return settings


def unknown_settings(
    names: Iterable[str], behaviour: Behaviour, called: str = "the behaviour"
) -> list[tuple[str, str]]:
    """Return (name, why) for each name that is no setting of the behaviour."""
    known = behaviour.settings
    return [(name, f"{called} has no setting '{name}'{nearest(name, known)}") for name in names if name not in known]
