"""What a kind of misfortune is, and how long a machine that has much else to do may take for a thing."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random

Case = Callable[[Random, Path], str | None]


@dataclass(frozen=True)
class Kind:
    """One kind: `case` makes one misfortune from a seed in an empty folder and tells the failure, None for none.

    seconds  how long a case may take at the most, stretched by `slack`; longer is a hang
    share    how much of the time it gets beside the others
    alone    it measures time, so no other case runs meanwhile
    real     it starts processes: afterwards none may be left
    needs    programs without which it is left out
    """

    name: str
    case: Case
    seconds: float = 90.0
    share: float = 1.0
    alone: bool = False
    real: bool = False
    needs: tuple[str, ...] = ()


def slack() -> float:
    """By how much to stretch a limit on this machine now: 1 where a processor is free, more where many wait for one."""
    return max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
