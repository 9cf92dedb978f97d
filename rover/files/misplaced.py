"""Keys that stand at the wrong depth: one that goes further in, slid out of a block of names, or goes further out."""

import typing
from collections.abc import Callable, Mapping
from typing import Any

from rover.files.problems import meant
from rover.files.types import Model, keys_of
from rover.files.yaml_source import KeyPath

ModelAt = Callable[[KeyPath], type[Model] | None]
"""Returns the model of the block at a place in the file in hand."""
BLOCK_DUE = "a block of 'key: value' lines is due here"


def goes_elsewhere(where: KeyPath, values: Any, model_of: ModelAt) -> str:
    """Return where a key that its block does not have belongs; '' where nothing tells, or it is near one it has.

    Args:
        where: the place of the key.
        values: of the whole file.
        model_of: the models of its blocks.
    """
    *outside, key = where
    block = model_of(tuple(outside))
    if block is None:
        return ""
    for name in keys_of(block):
        inside = model_of((*outside, name))
        if inside is not None and key in keys_of(inside):
            return f"it belongs under '{name}'"
    if meant(str(key), keys_of(block)):
        return ""
    named = _names_before(str(key), _block_at(values, outside), block)
    if named:
        return f"if it is a name under '{named}', indent it as far as the others there"
    further_out = model_of(tuple(outside[:-1])) if outside else None
    if further_out is not None and key in keys_of(further_out):
        return f"it belongs beside '{outside[-1]}', not under it"
    return ""


def _block_at(values: Any, where: typing.Iterable[Any]) -> Any:
    for part in where:
        try:
            values = values[part]
        except (LookupError, TypeError):
            return {}
    return values


def _names_before(key: str, written: Any, block: type[Model]) -> str:
    """Return the block of names that stands right before a key, other unknown ones aside."""
    if not isinstance(written, Mapping):
        return ""
    before = ""
    for name in written:
        if name == key:
            return before
        if name in keys_of(block):
            before = str(name) if _holds_names(block, str(name)) and isinstance(written[name], Mapping) else ""
    return ""


def _holds_names(block: type[Model], name: str) -> bool:
    annotations = [field.annotation for key, field in block.model_fields.items() if name == (field.alias or key)]
    return any(typing.get_origin(one) is dict for one in annotations)


def why_no_block(where: KeyPath, model_of: ModelAt) -> str:
    """Return what is to be said of a value where a block is due: its key stands at another depth, or what is due."""
    block = model_of(where)
    if block is None:
        return BLOCK_DUE
    if where and where[-1] in keys_of(block):
        outer = model_of(where[:-2])
        if outer is not None and where[-1] in keys_of(outer):
            return f"'{where[-1]}' stands among names here; it belongs beside '{where[-2]}', not under it"
        return f"'{where[-1]}' stands among names here, but is a key of one of them; indent it as far as its other keys"
    due = [field.alias or name for name, field in block.model_fields.items() if field.is_required()]
    return f"{BLOCK_DUE}: {{{', '.join(f'{name}: ...' for name in due)}}}" if due else BLOCK_DUE
