"""The package as a whole: its catalogue, its docstrings' examples, its documents."""

import doctest
import importlib
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest

import portviz

ROOT = Path(__file__).parent.parent
MODULES = [each.name for each in pkgutil.walk_packages(portviz.__path__, "portviz.") if "__main__" not in each.name]


@pytest.mark.parametrize("module", MODULES)
def test_docstring_examples_hold(module):
    assert doctest.testmod(importlib.import_module(module)).failed == 0


def test_there_are_docstring_examples():
    finder = doctest.DocTestFinder()
    found = [test for name in MODULES for test in finder.find(importlib.import_module(name)) if test.examples]
    assert len(found) >= 8


def test_every_public_name_is_there_and_described():
    for name in portviz.__all__:
        assert getattr(portviz, name) is not None
        if name != "__version__":
            assert getattr(portviz, name).__doc__
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        portviz.nothing  # noqa: B018


def test_import_alone_loads_no_numpy():
    code = "import portviz, sys; assert 'numpy' not in sys.modules; portviz.RoomAir; assert 'numpy' in sys.modules"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_every_listed_source_is_cited_and_every_cited_one_is_listed():
    listed = set(
        re.findall(r"^\| \[([A-Za-z][\w-]*)\] \|", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.MULTILINE)
    )
    assert len(listed) >= 6
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "portviz").rglob("*.py")]
    texts.append((ROOT / "README.md").read_text(encoding="utf-8"))
    # A key stands after a blank or a bracket, and is no unit and no type; subscripts stand right after a name.
    others = {"Pa", "MPa", "UNIT", "K", "N", "None", "True", "False"}
    cited = {
        key for text in texts for key in re.findall(r"(?<=[\s(|])\[([A-Z][A-Za-z]+(?:-[A-Za-z0-9]+)*)\](?!\()", text)
    }
    assert cited - others == listed


def test_the_readme_names_every_command_and_links_files_that_exist():
    from portviz.cli import app

    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in app:
        if not command.startswith("-"):
            assert f"portviz {command}" in readme
    for target in re.findall(r"\]\(([^)#]+)\)", readme):
        assert (ROOT / target).exists(), target
