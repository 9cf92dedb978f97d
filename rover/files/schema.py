"""JSON Schema (draft 7, as most editors read it) of each kind of file, made of the typed models.

It says what can be said without looking at two places of a file at once: keys, what is required, kinds, units, words.
What a value must be beside another, names that must exist elsewhere, and whether all can work is for `rover check`.
"""

import builtins
import re
import typing
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import product
from types import NoneType, UnionType
from typing import Annotated, Any, TypeAlias, Union, get_args, get_origin

from rover import quantities
from rover.devices.camera.keys import SCHEMES
from rover.devices.families import FAMILIES, Devices, FurtherKeys
from rover.devices.keys import DeviceKeys, OnScript
from rover.devices.own import OwnDeviceKeys, OwnSignal
from rover.devices.with_driver import WithDriver
from rover.files.bench import OWN_CLASS
from rover.files.driver_keys import KINDS as OWN_KINDS
from rover.files.errand import ORDERS
from rover.files.load import KINDS
from rover.files.notices import OCCASIONS
from rover.files.reference import KeyRow, meaning
from rover.files.robot import GOING
from rover.files.types import NAME_PATTERN, NOT_NEGATIVE, POSITIVE, Due, Model, due_in
from rover.quantities import Dimension

Schema: TypeAlias = dict[str, Any]

DRAFT = "http://json-schema.org/draft-07/schema#"
_TEXT: Schema = {"type": "string", "pattern": r"\S"}
_NAME: Schema = {"type": "string", "pattern": f"^(?:{NAME_PATTERN.pattern})$"}
_DOTTED: Schema = {"type": "string", "pattern": ":"}
_WHOLE: Schema = {"type": "integer"}
_SCALAR: Schema = {"type": ["string", "number", "boolean"]}
_YES_OR_NO: Schema = {"enum": ["yes", "no", True, False]}
_DIMENSIONS = {
    quantities.name_of(dimension).split(" ", 1)[1]: dimension
    for dimension in (
        *(quantities.LENGTH, quantities.TIME, quantities.ANGLE, quantities.VOLTAGE, quantities.CURRENT),
        *(quantities.TEMPERATURE, quantities.FREQUENCY, quantities.SPEED, quantities.TURN_RATE),
        *(quantities.ACCELERATION, quantities.TURN_ACCELERATION, quantities.RESISTANCE),
    )
} | {"number": quantities.NONE, "share": quantities.NONE}
"""Words of what is due -> the dimension of a quantity."""
_RULES = {"ge": "minimum", "le": "maximum", "gt": "exclusiveMinimum"}
_SIZES = {"array": {"min_length": "minItems", "max_length": "maxItems"}, "object": {"min_length": "minProperties"}}


def schema_of(kind: str) -> Schema:
    """Return the schema of a kind of file, one of `rover.files.load.KINDS`."""
    blocks = _Blocks()
    return {
        "$schema": DRAFT,
        "title": f"rover: a file that begins with '{kind}:'",
        **blocks.of(KINDS[kind]),
        "definitions": blocks.definitions,
    }


def schema_of_any() -> Schema:
    """Return the schema of a file of any kind, which its first key tells."""
    blocks = _Blocks()
    cases = [{"if": {"required": [kind]}, "then": blocks.of(model)} for kind, model in KINDS.items()]
    return {
        "$schema": DRAFT,
        "title": "rover: a file of any kind",
        "anyOf": [{"required": [kind]} for kind in KINDS],
        "allOf": cases,
        "definitions": blocks.definitions,
    }


def _units_of(dimension: Dimension) -> Iterator[str]:
    """Yield what a person would write as the unit of a dimension: one unit, or one a time, its square, a current."""
    below = [unit for unit, (of, _) in quantities.UNITS.items() if of in (quantities.TIME, quantities.CURRENT)]
    endings = ("", *(f"/{unit}" for unit in below), *(f"/{unit}^2" for unit in below))
    for above, ending in product(quantities.UNITS, endings):
        if quantities.parse_unit(above + ending)[0] == dimension:
            yield above + ending


@cache
def _quantity(dimension: Dimension, is_signed: bool = True) -> Schema:
    """Return the schema of a quantity; the text of a plain number may have no unit, and may be a number itself."""
    sign, unit = "[-+]?" if is_signed else "[+]?", "|".join(map(re.escape, _units_of(dimension)))
    is_plain = dimension == quantities.NONE
    text: Schema = {
        "type": "string",
        "pattern": rf"^\s*{sign}(?:{quantities.UNSIGNED})\s*(?:{unit}){'?' if is_plain else ''}\s*$",
    }
    number: Schema = {"type": "number"} if is_signed else {"type": "number", "minimum": 0}
    return {"anyOf": [number, text]} if is_plain else text


def _listed(one: Schema, *more: Schema) -> Schema:
    """Return the schema of a list of so many values."""
    return {"type": "array", "items": [one, *more], "minItems": 1 + len(more), "maxItems": 1 + len(more)}


def _either(*schemas: Schema) -> Schema:
    return {"anyOf": list(schemas)}


_POINT = _listed(_quantity(quantities.LENGTH), _quantity(quantities.LENGTH))
_LEAVES: dict[str, Schema] = {
    "text": _TEXT,
    "path": _TEXT,
    "name": _NAME,
    "class": {"type": "string", "pattern": f"^(?:{OWN_CLASS.pattern})$"},
    "address": {"type": "string", "pattern": f"^(?:{'|'.join(map(re.escape, SCHEMES))})"},
    "whole number": _WHOLE,
    "pin": _WHOLE,
    "odd number": _WHOLE,
    "yes, no": _YES_OR_NO,
    "point": _POINT,
    "condition": {"type": ["string", "boolean"]},
    "time or expression": _SCALAR,
    "confirmation": {"type": "string", "pattern": r"^\s*(?:\d+\s+of\s+\d+\s*$|for\s)"},
    "name or names": _either(_NAME, {"type": "array", "items": _NAME}),
    "word, or list of kinds": _either({"enum": list(ORDERS)}, {"type": "array", "items": _NAME}),
    "words or times by device": {
        "type": "object",
        "additionalProperties": _either({"enum": list(GOING)}, _quantity(quantities.TIME, is_signed=False)),
    },
    "mail server": _TEXT,
    "mail address": _TEXT,
    "mail addresses": _either(_TEXT, {"type": "array", "items": _TEXT, "minItems": 1}),
    "list of occasions": _either(
        {"enum": list(OCCASIONS)}, {"type": "array", "items": {"enum": list(OCCASIONS)}, "minItems": 1}
    ),
    "quantity": _either({"type": "number"}, {"type": "string", "pattern": rf"^\s*[-+]?(?:{quantities.UNSIGNED})"}),
    "any": _SCALAR,
    "as `rest`": _SCALAR,
    "kind": _either({"enum": list(OWN_KINDS)}, {"type": "array", "items": {"type": "string"}, "minItems": 1}),
    "line": {"type": ["string", "object"]},  # unquoted, the words behind its colon are a value by a key
    **{
        f"span of {words}s": _either(_quantity(dimension), _listed(_quantity(dimension), _quantity(dimension)))
        for words, dimension in _DIMENSIONS.items()
    },
}
"""What is due -> how it is written, where the type of what becomes of it does not say."""


class _Blocks:
    """The blocks of a file, each once under ``definitions``."""

    def __init__(self) -> None:
        self.definitions: dict[str, Schema] = {}

    def of(self, model: type[Model]) -> Schema:
        """Return a reference to the schema of a block."""
        name = model.__name__
        if name not in self.definitions:
            self.definitions[name] = {}  # blocks may stand in blocks of their own kind
            self.definitions[name] = self._block(model)
        return {"allOf": [{"$ref": f"#/definitions/{name}"}]}

    def _block(self, model: type[Model]) -> Schema:
        if model is Devices:
            return self._keys(model) | {"additionalProperties": self.of(FurtherKeys)}
        if model is FurtherKeys:
            return self._further()
        if issubclass(model, DeviceKeys) and model in [family.keys for family in FAMILIES.values()]:
            return self._by_driver(model)
        if issubclass(model, WithDriver) and not issubclass(model, DeviceKeys):
            return self._keys(model) | {"additionalProperties": True}
        written = self._keys(model)
        return _either({"type": ["string", "array"]}, written) if model is OwnSignal else written

    def _keys(self, *models: type[Model], required: bool = True) -> Schema:
        """Return the schema of a block with the keys of some models and no other one."""
        fields = {
            field.alias or name: (model, name, field) for model in models for name, field in model.model_fields.items()
        }
        properties = {key: self._field(model, name) for key, (model, name, _) in fields.items()}
        due = [key for key, (_, _, field) in fields.items() if field.is_required()]
        schema: Schema = {"type": "object", "properties": properties, "additionalProperties": False}
        for model in models:
            schema |= dict(model.model_config.get("json_schema_extra") or {})  # type: ignore[arg-type]
        return schema | ({"required": due} if due and required else {})

    def _field(self, model: type[Model], name: str) -> Schema:
        written = self._value(model.model_fields[name].rebuild_annotation())
        about = meaning(KeyRow(model, name))
        return written | ({"description": about} if about else {})

    def _value(self, annotation: Any) -> Schema:
        """Return the schema of what stands where a type is due."""
        rules: list[Any] = []
        while get_origin(annotation) in (Annotated, Union, UnionType):
            if get_origin(annotation) is Annotated:
                annotation, *more = get_args(annotation)
                rules += more
                continue
            annotation, *others = [one for one in get_args(annotation) if one is not NoneType]
            if others:
                return _either(self._value(annotation), *map(self._value, others))
        due = next((one.words for one in rules if isinstance(one, Due)), "")
        written = self._leaf(due, rules) or self._structure(annotation)
        return written | _bounds(written, rules)

    def _leaf(self, due: str, rules: Sequence[Any]) -> Schema | None:
        if due in _DIMENSIONS:
            return _quantity(_DIMENSIONS[due], not any(one in (POSITIVE, NOT_NEGATIVE) for one in rules))
        return _LEAVES.get(due)

    def _structure(self, annotation: Any) -> Schema:
        arguments = get_args(annotation)
        match get_origin(annotation):
            case typing.Literal:
                return {"enum": list(arguments)}
            case builtins.dict:
                of_keys: Schema = {"propertyNames": _NAME} if due_in(arguments[0]) == "name" else {}
                return {"type": "object", "additionalProperties": self._value(arguments[1]), **of_keys}
            case builtins.list:
                return {"type": "array", "items": self._value(arguments[0])}
            case builtins.tuple if arguments[-1] is Ellipsis:
                return {"type": "array", "items": self._value(arguments[0])}
            case builtins.tuple:
                return _listed(*map(self._value, arguments))
        if isinstance(annotation, type) and issubclass(annotation, Model):
            return self.of(annotation)
        return {int: _WHOLE, bool: {"type": "boolean"}, str: _TEXT}.get(annotation, {})

    def _by_driver(self, family: type[DeviceKeys]) -> Schema:
        """Return the schema of a family's block: which keys it has follows from its driver."""
        drivers = {name: self._keys(model) for name, model in family.DRIVERS.items()}
        fakes = [name for name in family.names() if name not in drivers]
        of_fakes = self._keys(family, *family.DRIVERS.values(), OnScript, *family.BESIDE_OWN, required=False)
        cases: list[tuple[Schema, Schema]] = [({"const": name}, keys) for name, keys in drivers.items()]
        cases += [({"enum": fakes}, of_fakes), (_DOTTED, self._own(family))]
        for _, keys in cases:
            keys["properties"] = keys["properties"] | {"driver": {}}
        return {
            "type": "object",
            "required": ["driver"],
            "properties": {"driver": _either({"enum": list(family.names())}, _DOTTED)},
            "allOf": [
                {"if": {"required": ["driver"], "properties": {"driver": driver}}, "then": keys}
                for driver, keys in cases
            ],
        }

    def _own(self, family: type[DeviceKeys]) -> Schema:
        """Return the schema of a block with a driver of a person's own, which may have any further keys."""
        return self._keys(family, *family.BESIDE_OWN) | {"additionalProperties": True}

    def _further(self) -> Schema:
        """Return the schema of a device by a name of a person's own: of a family, or with signals of its own."""
        several = [name for name, family in FAMILIES.items() if family.may_be_several]
        of_family = {
            "type": "object",
            "required": ["family", "driver"],
            "properties": {"family": {"enum": several}, "driver": _TEXT},
        }
        own = self._own(OwnDeviceKeys)
        return {"if": {"required": ["family"]}, "then": of_family, "else": own}


def _bounds(written: Schema, rules: Sequence[Any]) -> Schema:
    """Return what is said of how large a number or how long a list may be."""
    found: Schema = {}
    for rule in rules:
        for one in getattr(rule, "metadata", [rule]):  # those of pydantic's Field stand in one
            if written.get("type") == "integer":
                found |= {
                    word: getattr(one, name) for name, word in _RULES.items() if getattr(one, name, None) is not None
                }
            for name, word in _SIZES.get(str(written.get("type")), {}).items():
                if getattr(one, name, None) is not None:
                    found[word] = getattr(one, name)
    return found
