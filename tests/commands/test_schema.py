"""`rover schema` writes the schemas for an editor."""

import json


def test_it_writes_one_for_each_kind_and_one_for_all(rover, tmp_path):
    code, output, _ = rover("schema")
    assert code == 0
    names = {path.name.removesuffix(".schema.json") for path in (tmp_path / "schema").iterdir()}
    assert names == {"any", "robot", "errand", "behaviour", "bench", "keys", "ranges", "hard_seeds", "person"}
    assert "map *.yaml to schema/any.schema.json" in output
    for path in (tmp_path / "schema").iterdir():
        assert json.loads(path.read_text("utf-8"))["definitions"]


def test_a_file_in_the_way_is_said(rover, tmp_path):
    (tmp_path / "schema").touch()
    code, output, said = rover("schema")
    assert (code, output, len(said.splitlines())) == (2, "", 1)
