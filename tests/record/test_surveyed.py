"""Positions measured with a tape: what may be written, what is refused and how, and whose they are."""

import contextlib
import math
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rover.errors import UserError
from rover.events import Find
from rover.files.problems import FileProblems
from rover.record.run import TrueFind
from rover.record.surveyed import Measured, matched, read_measured, write_measured

FIELD = [(0.0, 0.0), (6.0, 4.0)]
KINDS = ["amber", "teal"]


def find(number: int, kind: str, x: float, y: float) -> Find:
    return Find(number, kind, x, y, 1e-4, 0.0, 1e-4)


FINDS = [find(1, "amber", 1.0, 1.0), find(2, "teal", 2.0, 1.0), find(3, "amber", 4.0, 3.0)]


def sheet(folder: Path, text: str) -> Path:
    path = folder / "tape.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "text",
    [
        "number,x / cm,y / cm\n1,101.5,99\n",
        "no.,x (cm),y (cm)\n1,101.5,99\n",
        "find,x [mm],y [mm]\nA1,1015,990\n",
        "Number, X in m, Y in m\n1, 1.015, 0.99\n",
        "number,x_m,y_m\n1,1.015,0.99\n",
        "number,x,y\n1,1015 mm,0.99 m\n",
        "number;x / cm;y / cm\n1;101,5;99\n",
        "number\tx / cm\ty / cm\twho\n1\t101.5\t99\tI\n",
        "\ufeff# measured at noon\n\nnumber,kind,x / cm,y / cm\n# the first\n1,amber,101.5,99\n,,,\n",
        "x / cm,y / m,number\n101.5,0.99,1\n",
    ],
)
def test_the_ways_to_write_one_place(text: str, tmp_path: Path) -> None:
    (row,) = read_measured(sheet(tmp_path, text))

    assert (row.number, row.x, row.y) == (1, pytest.approx(1.015), pytest.approx(0.99))


@pytest.mark.parametrize(
    ("text", "place", "why"),
    [
        ("", "1:1", "nothing stands here; the first line names the columns, such as 'number,kind,x / cm,y / cm'"),
        ("number,x / cm,y / cm\n", "1:1", "no row follows"),
        ("1,2.0,3.0\n", "1:1", "a column is missing: number (or kind), x, y"),
        ("number,x / cm\n1,2\n", "1:1", "a column is missing: y"),
        ("number,x / V,y / cm\n1,2,3\n", "1:2", "'V' is no unit of length; write m, cm, mm or in"),
        ("number,x / Cm,y / cm\n1,2,3\n", "1:2", "'Cm' is not a unit; did you mean 'cm'?"),
        ("number,x / cm,x / m,y / m\n1,2,3,4\n", "1:3", "a second column 'x'"),
        ("number,x,y\n1,2.0,3 m\n", "2:2", "a bare number where a length is due; write its unit (m, cm, mm, in)"),
        ("number,x / m,y / m\n1,2.0 V,3\n", "2:2", "'2.0 V' is a voltage, but a length is due"),
        ("number,x / m,y / m\n1,two,3\n", "2:2", "'two' is not a number"),
        ("number,x / m,y / m\n1,,3\n", "2:2", "nothing under 'x'; write where it stood, or leave the row out"),
        ("number,x / m,y / m\n1,nan,3\n", "2:2", "'nan' is not a number"),
        ("number,x / m,y / m\nfirst,1,3\n", "2:1", "no number of a find; write it as the report has it"),
        ("number,kind,x / m,y / m\n,,1,3\n", "2:1", "neither number nor kind"),
        ("number,x / m,y / m\n1,1,02,3,4\n", "2:1", "5 cells under 3 headings; write a decimal point"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_place(text: str, place: str, why: str, tmp_path: Path) -> None:
    path = sheet(tmp_path, text)
    with pytest.raises(FileProblems) as refused:
        read_measured(path)

    assert str(refused.value).startswith(f"{path}:{place}:")
    assert why in str(refused.value)


def test_all_that_is_wrong_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(FileProblems) as refused:
        read_measured(sheet(tmp_path, "number,x / m,y / m\n1,a,b\n2,1,1\nx,1,1\n"))

    assert [(problem.line, problem.text) for problem in refused.value.problems] == [(2, "a"), (2, "b"), (4, "x")]


@pytest.mark.parametrize(("content", "why"), [(b"number,x\xff", "not a text in UTF-8"), (None, "No such file")])
def test_a_file_that_cannot_be_read(content: bytes | None, why: str, tmp_path: Path) -> None:
    path = tmp_path / "tape.csv"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UserError, match=why):
        read_measured(path)


def test_rows_of_a_kind_go_to_its_finds_so_that_all_of_them_are_nearest() -> None:
    """The nearest pair first would give find 1 the row at 2.4, and find 3 one that is 3.6 m away."""
    rows = [Measured(2, None, "amber", 2.4, 1.0), Measured(3, None, "amber", 0.4, 1.0)]

    assert matched(Path("t"), rows, FINDS, kinds=KINDS, reach=FIELD).finds == {
        1: TrueFind(1, 0.4, 1.0),
        3: TrueFind(3, 2.4, 1.0),
    }


def test_a_number_goes_before_a_kind_and_what_is_left_over_was_not_found() -> None:
    rows = [
        Measured(2, 3, "", 1.0, 1.0),
        Measured(3, None, "amber", 4.0, 3.0),
        Measured(4, None, "amber", 1.1, 1.1),
        Measured(5, None, "teal", 2.0, 1.1),
    ]

    fits = matched(Path("t"), rows, FINDS, kinds=KINDS, reach=FIELD)

    assert fits.finds == {1: TrueFind(1, 1.1, 1.1), 2: TrueFind(2, 2.0, 1.1), 3: TrueFind(3, 1.0, 1.0)}
    assert fits.others == (rows[1],)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (Measured(2, 4, "", 1.0, 1.0), "the record has no find 4 (it has: 1, 2, 3)"),
        (
            Measured(2, 2, "amber", 1.0, 1.0),
            "find 2 is 'teal' in the record; if the robot was wrong, leave",
        ),
        (Measured(2, None, "ambre", 1.0, 1.0), "no kind of this run; did you mean 'amber'?"),
        (Measured(2, 1, "", 101.0, 1.0), "95 m outside the field (x 0.0 m to 6.0 m, y 0.0 m to 4.0 m); is the unit"),
    ],
)
def test_what_does_not_fit_the_run(row: Measured, why: str) -> None:
    with pytest.raises(FileProblems) as refused:
        matched(Path("tape.csv"), [row], FINDS, kinds=KINDS, reach=FIELD)

    assert str(refused.value).startswith("tape.csv:2:1:")
    assert why in str(refused.value)


def test_a_find_measured_twice_and_more_of_a_kind_than_can_be_told_apart() -> None:
    twice = [Measured(2, 1, "", 1.0, 1.0), Measured(3, 1, "", 1.0, 1.1)]
    with pytest.raises(FileProblems, match="find 1 stands in 2 rows"):
        matched(Path("t"), twice, FINDS, kinds=KINDS, reach=FIELD)
    many = [Measured(number, None, "amber", 0.1 * number, 1.0) for number in range(8)]
    with pytest.raises(FileProblems, match="write the finds' numbers"):
        matched(Path("t"), many, FINDS, kinds=KINDS, reach=FIELD)


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-50, 50)), min_size=1, max_size=5))
def test_what_is_written_is_read_back(places: list[tuple[float, float]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tape.csv"
        write_measured(path, [(find(number, "amber", 0.0, 0.0), place) for number, place in enumerate(places, 1)])
        back = read_measured(path)

    assert [row.number for row in back] == list(range(1, len(places) + 1))
    assert all(math.dist((row.x, row.y), place) < 1e-4 for row, place in zip(back, places, strict=True))


@given(st.text(max_size=200) | st.text("number,kind;x y/cm.\t\"'#123-e\n", max_size=200))
def test_whatever_stands_in_the_file_it_is_read_or_refused_in_words(text: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tape.csv"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        with contextlib.suppress(UserError):
            assert all(math.isfinite(row.x + row.y) for row in read_measured(path))


def test_a_cell_without_an_end_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match=r"tape.csv: not a CSV file"):
        read_measured(sheet(tmp_path, 'number,x,y\n1,"' + "9" * 200_000))
