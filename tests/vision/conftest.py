"""The scenes that the tests of the vision look at."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def scene():
    """The module `scene` beside this file."""
    spec = importlib.util.spec_from_file_location("scene", Path(__file__).with_name("scene.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
