"""The matrix of losses in lines, for a terminal, and as plain values, for JSON."""

import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from rover.trials.losses import LASTING, Matrix, Outcome, in_words
from rover.trials.verdict import in_words as time_in_words

WIDTH = 15
"""Of a column."""


def lines(matrix: Matrix) -> Iterator[str]:
    """Yield the lines: a block for each state, then all that is WRONG with its commands, then the sum."""
    yield f"without a loss: {matrix.base.verdict.words}"
    for sentence in matrix.left_out:
        yield f"left out: {sentence}"
    for state, at_s in matrix.reached_s.items():
        yield from ("", f"lost on entering {state}, at {time_in_words(at_s)}")
        yield from _block(matrix, state)
    if matrix.wrong:
        yield from ("", "WRONG")
        for one in matrix.wrong:
            yield from (f"  {place_of(one)}: {one.verdict.words}", f"    {one.command}")
    yield from ("", matrix.summary)


def _block(matrix: Matrix, state: str) -> Iterator[str]:
    first = max(map(len, matrix.ways)) + 2
    ways = dict.fromkeys(way for of_device in matrix.ways.values() for way in of_device)
    yield " " * first + "".join(f"{way:<{WIDTH * len(LASTING)}}" for way in ways).rstrip()
    yield " " * first + "".join(f"{in_words(lasts):<{WIDTH}}" for _ in ways for lasts in LASTING).rstrip()
    for device in matrix.ways:
        found = (matrix.at(state, device, way, lasts) for way in ways for lasts in LASTING)
        yield f"{device:<{first}}" + "".join(f"{one.verdict.short if one else '-':<{WIDTH}}" for one in found).rstrip()


def place_of(one: Outcome) -> str:
    """Return which cell it is, in words."""
    return "without a loss" if one.loss is None else one.loss.line


def as_json(matrix: Matrix) -> dict[str, Any]:
    """Return all of it as plain values."""
    return {
        "errand": matrix.errand,
        "seed": matrix.seed,
        "summary": matrix.summary,
        "wrong": len(matrix.wrong),
        "planned": matrix.size,
        "left_out": list(matrix.left_out),
        "without_loss": _plain(matrix.base),
        "cells": [_plain(one) for one in matrix.outcomes],
    }


def _plain(one: Outcome) -> dict[str, Any]:
    seen, verdict = one.seen, one.verdict
    lost_s = seen.lost_s or 0.0
    found: dict[str, Any] = {}
    if one.loss is not None:
        lasts_s = LASTING[one.loss.lasts]
        found = {**one.loss._asdict(), "line": one.loss.line, "lasts_s": None if math.isinf(lasts_s) else lasts_s}
        del found["words"], found["lasts"]
    return found | {
        "verdict": verdict.outcome,
        "kind": verdict.kind or None,
        "words": verdict.words,
        "after_s": verdict.after_s,
        "at_rest_after_s": max(seen.motion.rest_s - lost_s, 0.0),
        "lost_at_s": seen.lost_s,
        "result": seen.result,
        "reason": seen.reason,
        "counted": seen.counted,
        "truth": None if seen.truth is None else asdict(seen.truth),
        "bumps_m_s": list(seen.bumps),
        "error": seen.error or None,
        "command": one.command,
    }
