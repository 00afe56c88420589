"""The gate: on a CI machine nothing is passed over for want of a tool, and its script runs what the README promises."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.workers import LINES, unit

ROOT = Path(__file__).resolve().parent.parent


SKIPS = """
import pytest
def test_a_bell(): pytest.skip("missing tool: a bell")
@pytest.mark.skipif(True, reason="missing tool: a bell")
def test_a_bell_marked(): ...
def test_elsewhere(): pytest.skip("only on another system")
@pytest.mark.skipif(True, reason="only on another system")
def test_elsewhere_marked(): ...
"""


@pytest.mark.parametrize(("ci", "failed"), [("true", {"test_a_bell", "test_a_bell_marked"}), ("", set())])
def test_a_missing_tool_fails_the_gate_and_only_the_gate(tmp_path: Path, ci: str, failed: set[str]) -> None:
    """With CI=true a skip for a missing tool is a failure, however it is written; other skips stay skips."""
    (tmp_path / "test_it.py").write_text(SKIPS, "utf-8")
    words = ["-v", "-c", os.devnull, "--rootdir", ".", "-p", "tests.conftest", "test_it.py"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words],
        cwd=tmp_path,
        env={**os.environ, "CI": ci, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    told = dict(re.findall(r"^test_it\.py::(\w+) (FAILED|ERROR|SKIPPED)", done.stdout, re.M))
    assert len(told) == 4, done.stdout
    assert {name for name, outcome in told.items() if outcome != "SKIPPED"} == failed
    assert done.returncode == bool(failed)


def test_what_waits_for_a_sound_server_or_a_terminal_stands_in_line() -> None:
    """Every file of tests that uses one of the rigs is in one of the lines; other files stand alone."""
    rigs = re.compile(r"^from tests\.(jack_rig|terminal_rig|screens\.quiet) import|kill_driver", re.M)
    tests = [path for path in (ROOT / "tests").rglob("test_*.py") if path != Path(__file__)]
    using = [path for path in tests if rigs.search(path.read_text("utf-8"))]
    assert len(using) > 4
    for path in using:
        assert unit(f"{path.relative_to(ROOT).as_posix()}::test_it") in LINES, path
    assert unit("tests/guitar/test_neck.py::test_it[a::b]") == "tests/guitar/test_neck.py"


def test_the_gate_finds_the_two_commands_of_the_readme() -> None:
    """Its search for a line that begins with a new environment and ends in /coach or /pytest has one match each."""
    script = (ROOT / ".ci" / "run").read_text("utf-8")
    readme = (ROOT / "README.md").read_text("utf-8")
    ends = re.findall(r"^command=\$\(promised '(.*)'\)$", script, re.M)
    assert ends == ["/coach", "/pytest"]
    for end in ends:
        assert len(re.findall(rf"^python3 -m venv .*{end}$", readme, re.M)) == 1


def test_no_tracked_file_of_the_project_names_a_place_of_one_machine() -> None:
    """Scripts and pages hold no home folder and no working folder of whoever wrote them."""
    pages = [ROOT / name for name in (".ci/run", "pyproject.toml", "README.md", "DEVELOPERS.md")]
    for page in pages:
        assert not re.search(r"/(home|root|work|Users)/[a-z]", page.read_text("utf-8")), page.name
