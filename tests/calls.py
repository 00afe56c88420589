"""Ways to call the command in a process of its own, and what the fixtures are that call it in this one."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

Said = tuple[int, str, str]
Run = Callable[..., Said]
Data = Callable[..., Any]


def shell(*words: str, **more: Any) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, with nothing on stdin."""
    return subprocess.run(
        [sys.executable, "-m", "coach", *words], stdin=subprocess.DEVNULL, capture_output=True, text=True, **more
    )
