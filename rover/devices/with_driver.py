"""Blocks of the robot file that name a driver: which keys they have follows from it.

A driver of a person's own may have any keys, or those that a file beside it declares (`rover.files.driver_keys`).
"""

from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache
from typing import Annotated, Any, ClassVar, Self

from pydantic import (
    BeforeValidator,
    ConfigDict,
    Field,
    ModelWrapValidatorHandler,
    ValidationInfo,
    create_model,
    model_validator,
)

from rover.files.types import KeyMistakeError, Model, Text, ValueMistakeError, due_in, loose

SAFETY_KEYS, SURELY_MEANT = ("contact", "moves", "own_deadline", "on_stop", "push_for"), 0.79
Declared = Mapping[str, tuple[Any, Any]]
"""The keys of a driver of a person's own as its file declares them: of each its type and its default as it is written,
... where it has none."""


def is_dotted(driver: object) -> bool:
    """Tell whether a driver's name is a person's own ``package.module:Class``."""
    return isinstance(driver, str) and ":" in driver


class Settled(Model):
    """A model that has been made for one driver."""

    def __reduce__(self) -> tuple[Any, ...]:
        """Let it be sent to another process, where such a model is made again; what was declared is kept as values."""
        values = {field.alias or name: getattr(self, name) for name, field in type(self).model_fields.items()}
        return _made_again, (type(self).__bases__[0], values | (self.model_extra or {}))


class WithAnyKeys(Settled):
    """A driver of which nobody knows the keys."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, Annotated[Any, BeforeValidator(loose)]] = Field(init=False)


class WithDriver(Model):
    """A block that names a driver.

    Attributes:
        BESIDE_OWN: what such a block may have besides where the driver is a person's own.
    """

    BESIDE_OWN: ClassVar[tuple[type[Model], ...]] = ()

    driver: Text
    """See [Drivers](#drivers)."""

    @classmethod
    def is_settled(cls) -> bool:
        """Tell whether this is already the model for a driver."""
        return issubclass(cls, Settled)

    @classmethod
    def for_driver(cls, driver: object, declared: Declared | None = None) -> type["WithDriver"]:
        """Return the model of such a block by its driver.

        Args:
            driver: what stands in the file.
            declared: the keys of a person's own driver; None: nobody knows them, so any are taken.
        """
        return cls.for_own_driver(declared)

    @classmethod
    def for_own_driver(cls, declared: Declared | None) -> type["WithDriver"]:
        """Return the model of such a block with a driver of a person's own."""
        return _of_unknown_driver(cls) if declared is None else _of_declared_driver(cls, declared)

    @classmethod
    def for_values(cls, values: Any, context: Any) -> type[Any]:
        """See `Model.for_values`; ``context`` tells what a person's own drivers declare, or is None."""
        if cls.is_settled() or not isinstance(values, Mapping):
            return cls
        driver = values.get("driver")
        is_own = context is not None and is_dotted(driver)
        return cls.for_driver(driver, context.declared_by(driver) if is_own else None)

    @model_validator(mode="after")
    def _says_what_it_means(self) -> Self:
        """Refuse what nobody declares and is nearly a key on which it depends what may move."""
        for key in self.model_extra or {}:
            for near in get_close_matches(key, SAFETY_KEYS, 1, SURELY_MEANT):
                why = f"did you mean '{near}'? A key of your driver's that is called so goes into its file of keys"
                raise KeyMistakeError(key, why)
        return self

    @model_validator(mode="wrap")
    @classmethod
    def _by_its_driver(cls, values: Any, handler: ModelWrapValidatorHandler[Self], info: ValidationInfo) -> Any:
        model = cls.for_values(values, info.context)
        return handler(values) if model is cls else model.model_validate(values, context=info.context)

    @property
    def is_own(self) -> bool:
        """Its driver is a person's own."""
        return is_dotted(self.driver)

    @property
    def own_options(self) -> dict[str, Any]:
        """The keys and values that only a driver of a person's own has, SI units."""
        declared = {field.alias: getattr(self, name) for name, field in type(self).model_fields.items() if field.alias}
        return declared | (self.model_extra or {})


@cache
def _of_unknown_driver(block: type[WithDriver]) -> type[WithDriver]:
    return made_for(block, (*block.BESIDE_OWN, WithAnyKeys), {})


def _of_declared_driver(block: type[WithDriver], declared: Declared) -> type[WithDriver]:
    """Return the model with the keys that a driver declares; those that rover reads may have another default there."""
    usual = {key: field.rebuild_annotation() for key, field in _of_unknown_driver(block).model_fields.items()}
    fields: dict[str, Any] = {}
    for key, (kind, default) in declared.items():
        if key not in usual:  # named so that no key can be taken for something else that the model has
            fields[f"key_{key}"] = (kind, Field(default, alias=key, validate_default=True))
        elif due_in(kind) == due_in(usual[key]):
            fields[key] = (usual[key], Field(default, validate_default=True))
        else:
            why = f"its file of keys has '{key}' as {due_in(kind)}; rover reads {due_in(usual[key])}"
            raise ValueMistakeError(("driver",), why)
    return made_for(block, (*block.BESIDE_OWN, Settled), fields)


def _made_again(block: type[WithDriver], values: Mapping[str, Any]) -> WithDriver:
    return block.for_driver(values["driver"]).model_construct(**values)


def made_for(block: type[WithDriver], also: tuple[type[Model], ...], fields: Mapping[str, Any]) -> type[WithDriver]:
    """Return a model of a block that has, for one driver, what others do not."""
    bases: Any = (block, *also)
    made: type[WithDriver] = create_model(block.__name__, __base__=bases, **fields)
    return made
