"""Plays into a ledger until it is killed. Run as `python -m tests.log.kill_driver LEDGER`.

Each line on stdin forks one player (a fork starts in a millisecond, so many can be killed in little time). A player
prints `pid N`, then `pass TAKE NUMBER` after each pass that the ledger says is written; its end prints `gone`.
"""

import os
import sys

from coach.log.ledger import Ledger


def say(line: str) -> None:
    """One line, written at once and whole."""
    os.write(1, (line + "\n").encode())


def play(path: str) -> None:
    """Takes without end: four passes each, a stumble before every third."""
    say(f"pid {os.getpid()}")
    ledger = Ledger(path)
    while True:
        take = ledger.begin_take("lantern-walk", 84)
        for number in range(1, 5):
            stumbled = number % 3 == 0
            if stumbled:
                ledger.add_stumble(take, 1, "3/2", 84, number)
            ledger.add_pass(take, number, 84, 4, int(stumbled))
            say(f"pass {take} {number}")
        ledger.give_verdict(take, "held")


if __name__ == "__main__":
    for _ in sys.stdin:
        child = os.fork()
        if child == 0:
            try:
                play(sys.argv[1])
            finally:
                os._exit(1)
        os.waitpid(child, 0)
        say("gone")
