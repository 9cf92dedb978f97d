import json
from pathlib import Path

import pytest

CONFIG = Path(__file__).parents[2] / "config"
RECTANGLE = CONFIG / "rectangle.yaml"


def test_it_is_written_beside_the_record(rover):
    record = json.loads(rover("rehearse", RECTANGLE, "--json")[1])["record"]
    code, out, _ = rover("report", record)
    assert code == 0
    page = Path(out.removeprefix("report: ").strip())
    assert page == Path(record).with_suffix(".html")
    assert "Drive a rectangle in the bay" in page.read_text("utf-8")


@pytest.mark.parametrize(
    ("content", "message"), [(None, "there is no such file"), (b"not a database, but long enough" * 9, "not a run")]
)
def test_what_is_no_record(rover, tmp_path, content, message):
    path = tmp_path / "some.sqlite"
    if content is not None:
        path.write_bytes(content)
    code, out, err = rover("report", path)
    assert (code, out) == (2, "")
    assert message in err


def test_a_page_that_cannot_be_written_is_named(rover, tmp_path):
    """A folder stands where the page should be: that stops also one who may write everywhere."""
    record = json.loads(rover("rehearse", RECTANGLE, "--json")[1])["record"]
    page = (tmp_path / record).with_suffix(".html")
    page.mkdir()
    code, out, err = rover("report", record)
    assert (code, out) == (2, "")
    assert err.endswith(".html: Is a directory\n")
