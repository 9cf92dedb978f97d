import math
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from rover.files import yaml_source
from rover.files.problems import FileProblems
from rover.files.yaml_source import Source, Spot, read_text


def source(text: str) -> Source:
    return read_text(text, Path("file.yaml"), "file.yaml")


def problem(text: str) -> str:
    with pytest.raises(FileProblems) as refused:
        source(text)
    (only,) = refused.value.problems
    return str(only)


# YAML 1.2.2 (2021), section 10.3.2 'Tag Resolution' of the core schema; not YAML 1.1, where `on` is true and 010 is 8.
@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("on", "on"),
        ("no", "no"),
        ("yes", "yes"),
        ("y", "y"),
        ("010", 10),
        ("-7", -7),
        ("+7", 7),
        ("0o17", 15),
        ("0x1F", 31),
        ("0b1", "0b1"),
        ("1_000", "1_000"),
        ("1:30", "1:30"),
        ("2024-01-01", "2024-01-01"),
        ("1e3", 1000.0),
        ("1.", 1.0),
        (".5", 0.5),
        ("-2.5E-1", -0.25),
        ("~", None),
        ("null", None),
        ("Null", None),
        ("nULL", "nULL"),
        ("True", True),
        ("FALSE", False),
        ("tRue", "tRue"),
        ("'true'", "true"),
        ('"010"', "010"),
        ("'~'", "~"),
        ("25 cm", "25 cm"),
        ("1e999", math.inf),
    ],
)
def test_a_scalar_means_what_it_looks_like(written: str, meant: Any) -> None:
    value = source(f"key: {written}").values["key"]
    assert value == meant
    assert type(value) is type(meant)


@pytest.mark.parametrize("word", [".inf", "-.inf", ".nan", ".NaN"])
def test_infinity_and_not_a_number_stay_words(word: str) -> None:
    """The core schema has them; no key of these files has a use for either, and as words they are refused by name."""
    assert source(f"key: {word}").values == {"key": word}


def test_the_digits_of_a_very_long_number_are_not_worked_out() -> None:
    assert source(f"key: {'9' * 5000}").values["key"] == "9" * 5000


def test_block_texts_are_texts() -> None:
    assert source("a: |\n  12\n  on\nb: >\n  1\n  2\n").values == {"a": "12\non\n", "b": "1 2\n"}


def test_keys_are_texts_as_written() -> None:
    assert list(source("on: 1\n010: 2\n1:30: 3\n~: 4\n").values) == ["on", "010", "1:30", "~"]


BLOCK = """\
robot: Cart
devices:
  camera:
    tilt: 15 deg
  walls:
    - [1 m, 2 m]
    - {x: 3 m}
"""


@pytest.mark.parametrize(
    ("where", "key", "value"),
    [
        (("robot",), Spot(1, 1, "robot"), Spot(1, 8, "Cart")),
        (("devices",), Spot(2, 1, "devices"), Spot(3, 3, "")),
        (("devices", "camera", "tilt"), Spot(4, 5, "tilt"), Spot(4, 11, "15 deg")),
        (("devices", "walls", 0, 1), Spot(6, 13, "2 m"), Spot(6, 13, "2 m")),
        (("devices", "walls", 1), Spot(7, 7, ""), Spot(7, 7, "")),
        (("devices", "walls", 1, "x"), Spot(7, 8, "x"), Spot(7, 11, "3 m")),
    ],
)
def test_every_key_and_value_has_its_place(where: tuple[str | int, ...], key: Spot, value: Spot) -> None:
    read = source(BLOCK)
    assert read.spot(where, of_key=True) == key
    assert read.spot(where) == value


def test_flow_style_has_the_same_places() -> None:
    read = source("{a: {b: [1, 22]}, c: x}")
    assert read.spot(("a", "b", 1)) == Spot(1, 13, "22")
    assert read.spot(("c",), of_key=True) == Spot(1, 19, "c")


def test_what_the_file_does_not_have_stands_where_it_would_belong() -> None:
    read = source(BLOCK)
    assert read.spot(("devices", "camera", "height")).line == 4
    assert read.spot(("nothing", "of", "this")) == Spot(1, 1, "")


def test_a_byte_order_mark_and_windows_line_ends_are_taken(tmp_path: Path) -> None:
    path = tmp_path / "file.yaml"
    path.write_bytes(b"\xef\xbb\xbfrobot: Cart\r\nloop: 50 Hz\r\n")
    read = yaml_source.read(path, "file.yaml")
    assert read.values == {"robot": "Cart", "loop": "50 Hz"}
    assert read.spot(("loop",)) == Spot(2, 7, "50 Hz")


def test_a_directive_and_marks_of_one_document_are_taken() -> None:
    assert source("%YAML 1.2\n---\na: 1\n...\n").values == {"a": 1}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "file.yaml:1:1: the file is empty"),
        ("# a\n", "file.yaml:1:1: the file holds nothing but comments"),
        ("---\n", "file.yaml:1:1: the file holds nothing but comments"),
        ("a: 1\n\tb: 2\n", "file.yaml:2:1: a tab; indent with spaces, YAML allows no tab there"),
        ("a: 1\nb: &x 2\n", "file.yaml:2:4: anchors and aliases (& and *) are not used in these files;"),
        ("a: 1\n---\nb: 2\n", "file.yaml:2:1: a second document (---); one file holds one"),
        ("a: !b c\n", "file.yaml:1:4: tags (!) are not used in these files;"),
        ("a: !b!c d\n", "file.yaml:1:4: tags (!) are not used in these files;"),
        ("a: [1, 2\nb: 3\n", "file.yaml:1:4: a bracket that is not closed, or a comma that is missing;"),
        ("a: {b: [}\n", "file.yaml:1:9: a value is missing before this bracket or comma"),
        ("a: 'b\nc: d\n", "file.yaml:1:4: a quoted text that is not closed or holds"),
        ('a: "\\q"\n', "file.yaml:1:4: a quoted text that is not closed or holds"),
        ("a: %b\n", "file.yaml:1:4: no value begins with this character; quote the text"),
        ("a: b: c\n", "file.yaml:1:5: a ': ' where none may stand;"),
        ("a: 1\nb:2\nc: 3\n", "file.yaml:2:1: a line without ': ' behind its key"),
        ("a:\n    b: 1\n  c: 2\n", "file.yaml:3:3: this line is not aligned with those above it"),
        ("a:\n  - b\n  c: 2\n", "file.yaml:3:3: this line is not aligned with those above it"),
        ("a:\n  b: '24 cm\n  c: 'it'\n", "or is it the quote in line 2 that is not closed?"),
        ("a: b\x1bc\n", "file.yaml:1:5: holds the character '\\x1b', which no text file has;"),
        ("a: \ud800\n", "file.yaml:1:4: holds the character '\\ud800', which no text file has;"),
        ("a: " + "[" * 41 + "]" * 41, "file.yaml:1:43: nested deeper than 40 levels"),
        ("a: " + "[" * 30_000, "nested deeper than 40 levels"),
    ],
)
@pytest.mark.parametrize("loader", [yaml_source._Loader, yaml.SafeLoader])
def test_what_is_refused_is_told_in_words_with_its_place(
    text: str, said: str, loader: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The parser in C and the one in Python, which is there where no compiler was, give the same."""
    monkeypatch.setattr(yaml_source, "_Loader", loader)
    assert said in problem(text)


def test_a_key_twice_is_told_with_both_places_and_the_first_is_kept() -> None:
    read = source("a: 1\nb: 2\n'a': 3\n")
    assert read.values == {"a": 1, "b": 2}
    assert [str(one) for one in read.problems] == [
        "file.yaml:3:1: 'a': this key stands here twice (first on line 1); remove one"
    ]


plain = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**15), 10**15),
        st.text(alphabet=st.characters(codec="ascii"), max_size=8),
    ),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text("abc_", min_size=1, max_size=3), inner, max_size=3)
    ),
    max_leaves=12,
)


class Quoting(yaml.SafeDumper):
    """Quotes every text: by YAML 1.1, which the writer follows, `0E0` is a text that needs none."""


Quoting.add_representer(str, lambda writer, text: writer.represent_scalar("tag:yaml.org,2002:str", text, style='"'))


def _of_core_schema(value: Any) -> bool:
    text = yaml.dump(value, Dumper=Quoting)
    return not any(mark in text for mark in ("!", "&", "\x7f", "\\"))


@given(plain.filter(_of_core_schema))
def test_what_another_program_writes_is_read_back(value: Any) -> None:
    text = yaml.dump({"key": value}, Dumper=Quoting)
    assert source(text).values == {"key": value}
