"""The fault schedule: what a line means, and what is said against one that means nothing."""

from pathlib import Path
from typing import Any

import pytest

from rover.files import yaml_source
from rover.files.bench import BenchFile
from rover.files.faults import ScheduledFault, parse_fault


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("at 12 s: heading silent for 3 s", ScheduledFault(12.0, "heading", "silent", 3.0)),
        ("at 1 min: range no echo for 500 ms", ScheduledFault(60.0, "range", "no echo", 0.5)),
        ("at 2 min: stop input open", ScheduledFault(120.0, "stop_input", "open")),
        ("at 0 s: counts jump of -400", ScheduledFault(0.0, "counts", "jump", 0.0, -400)),
        ("at 5 s: jar 3 moved to [1 m, 25 cm]", ScheduledFault(5.0, "jar", "moved", 0.0, 3, (1.0, 0.25))),
    ],
)
def test_a_line_is_read(line: Any, fault: ScheduledFault) -> None:
    assert parse_fault(line) == fault


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("heading silent", "write it as in 'at 12 s: heading silent for 3 s'"),
        (7, "'7' is no fault; write it as in 'at 12 s: heading silent for 3 s'"),
        ("at 12: heading silent", "after 'at': a bare number where a time is due"),
        ("at -1 s: heading silent", "after 'at': '-1 s' must not be negative"),
        ("at 1 s: heading silent for 3 m", "after 'for': '3 m' is a length"),
        ("at 1 s: heding silent", "did you mean 'heading'?"),
        ("at 1 s: heading frozen", "'frozen' is no fault of 'heading' (allowed: silent)"),
        ("at 1 s: counts jumps", "'jumps' is no fault of 'counts' (allowed: silent, stuck, jump of <n>)"),
        ("at 1 s: counts jump of 4 for 2 s", "'counts jump of 4' happens at once; leave out 'for 2 s'"),
        ("at 1 s: jar 1 moved to [1, 2 m]", "a bare number where a length is due"),
    ],
)
def test_a_wrong_line_says_what_is_wrong(line: Any, says: str) -> None:
    with pytest.raises(ValueError) as refused:  # noqa: PT011  the text is looked at below
        parse_fault(line)
    assert says in str(refused.value)


def test_yaml_reads_a_line_as_a_mapping_and_it_is_taken_all_the_same() -> None:
    text = "bench: Test\nfaults:\n  - at 12 s: heading silent for 3 s\n  - 'at 1 s: link silent'\n"
    file = BenchFile.model_validate(yaml_source.read_text(text, Path("b.yaml"), "b.yaml").values)
    assert [fault.device for fault in file.faults] == ["heading", "link"]
