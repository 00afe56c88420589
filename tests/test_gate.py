"""The gate: on a CI machine nothing is passed over for want of a tool, and its script runs what the README promises."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.parametrize(
    ("ci", "reason", "code"),
    [
        ("true", "missing tool: a bell", 1),
        ("true", "only on another system", 0),
        ("", "missing tool: a bell", 0),
    ],
)
@pytest.mark.parametrize(
    "way",
    ["def test_it():\n    pytest.skip({!r})", "@pytest.mark.skipif(True, reason={!r})\ndef test_it(): ..."],
    ids=["inside", "mark"],
)
def test_a_missing_tool_fails_the_gate_and_only_the_gate(
    tmp_path: Path, way: str, ci: str, reason: str, code: int
) -> None:
    """With CI=true a skip for a missing tool is a failure, however it is written; other skips stay skips."""
    (tmp_path / "test_it.py").write_text("import pytest\n" + way.format(reason) + "\n", "utf-8")
    words = ["-q", "-c", os.devnull, "--rootdir", ".", "-p", "tests.conftest", "test_it.py"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words],
        cwd=tmp_path,
        env={**os.environ, "CI": ci, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == code, done.stdout


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
