"""What a notice says: templates filled in with what happened."""

from collections.abc import Mapping, Sequence

from rover.events import Find
from rover.files.notices import USUAL, Templates
from rover.record.run import RecordedRun
from rover.report import numbers
from rover.report.figures import account_words, delivered_words, ellipse_of
from rover.report.numbers import clock


def metres(value: float) -> str:
    """Return a length (m) to the millimetre, with the hyphen for a minus that every program can show."""
    return _plain(numbers.metres(value))


def millimetres(value: float) -> str:
    """Return a length (m) in whole millimetres, as before."""
    return _plain(numbers.millimetres(value))


def _plain(number: str) -> str:
    return number.replace("\N{MINUS SIGN}", "-").replace(numbers.UNKNOWN, "?")


def filled(templates: Templates, occasion: str, values: Mapping[str, str]) -> tuple[str, str]:
    """Return subject (one line) and text for an occasion; ``values`` has every placeholder of it."""
    subject, text = USUAL[occasion]
    own = templates.of(occasion)
    subject, text = own.get("subject", subject).format_map(values), own.get("text", text).format_map(values)
    return " ".join(subject.split()), text


def find_values(find: Find) -> dict[str, str]:
    """Return what a find puts into a template."""
    axes = ellipse_of(find)
    return {
        "number": str(find.number),
        "kind": find.kind,
        "x": f"{metres(find.x)} m",
        "y": f"{metres(find.y)} m",
        "major": f"{millimetres(axes.major_m)} mm",
        "minor": f"{millimetres(axes.minor_m)} mm",
        "angle": f"{_plain(numbers.degrees(axes.angle_rad))} deg",
    }


def end_values(run: RecordedRun) -> dict[str, str]:
    """Return what the end of a run puts into a template, as its record has it."""
    outcome = run.outcome
    return {
        "after": clock(run.ended_ns - run.started_ns),
        "delivered": delivered_words(run),
        "result": outcome.result if outcome else "cut off",
        "reason": outcome.reason if outcome else "the run ended without a word: no power, or the runtime was killed",
        "account": account_words(run),
        "table": finds_in_text(run),
    }


def finds_in_text(run: RecordedRun) -> str:
    """Return the table of finds in plain text, with its units in the heading."""
    head = ("no.", "kind", "x (m)", "y (m)", "95 % ellipse, semi-axes (mm)")
    rows = [head, *(_find_row(run, position) for position in range(len(run.finds)))]
    if len(rows) == 1:
        return "Nothing was found."
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(_aligned(row, widths) for row in rows)


def _find_row(run: RecordedRun, position: int) -> tuple[str, ...]:
    find = run.finds[position]
    axes = ellipse_of(find)
    ellipse = f"{millimetres(axes.major_m)} x {millimetres(axes.minor_m)}"
    return (str(find.number), find.kind, metres(find.x), metres(find.y), ellipse)


def _aligned(row: Sequence[str], widths: Sequence[int]) -> str:
    number, kind, *figures = row
    left = f"{number:>{widths[0]}}  {kind:<{widths[1]}}"
    return left + "".join(f"  {figure:>{width}}" for figure, width in zip(figures, widths[2:], strict=True))
