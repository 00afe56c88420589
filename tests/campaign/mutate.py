"""Damage of all sorts, made from a seed: blind to what it damages, or with an eye for words, numbers and structure."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random
from typing import Any

NUMBERS = (
    "0", "-0", "-0.0", "1", "-1", "2", "7", "99", "1e9", "nan", "inf", "-inf", "1e309", "1e-400", "9" * 400, "0.1" * 9,
    "2147483648", "-9223372036854775809", "18446744073709551616", "3.000000000000000000000001", "1_000", "0x10", "1/0",
    "１２", "٣", "²", "007", "+5", " 4 ", "1,5", "",
)  # fmt: skip
STRINGS = (
    "", " ", ".", "..", "-", "--", "|", "||", "N", "C", "C/H", "Am7b5#9", "H", "x" * 5000, "ä" * 200, "a\u0301" * 90,
    "\x1b[2J\x1b]0;hello\x07", "\x9b31m", "\x7f\x08\x08", "\u202eevil\u2066", "\u2028\u2029", "\ufeff", "\U0001f3b8",
    "a\nb\r\nc", "%s%n{0}", "$(id)", "'\"`\\", "C | " * 3000, "x32010", "(99)(99)9999", "G:1@1", "3@99", "2!@(",
    "r a f", "true", "null", "/", "~", "con", "D4:1/0", "D4:999999999/7", "F###4", "B-1", "C99", "4/4", "0/0",
    "4/3", "1000/4",
)  # fmt: skip
_TOKEN = re.compile(r'"[^"\n]*"|[A-Za-z_][\w-]*|\d+(?:\.\d+)?|\s+|.', re.DOTALL)


def blind(rng: Random, data: bytes) -> bytes:
    """Bytes with a few of them flipped, cut out, doubled, strewn in or cut off."""
    made = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 4, 16))):
        size = len(made)
        at = rng.randrange(size + 1)
        piece = bytes(made[at : at + rng.choice((1, 2, 4, 16, 200))])
        deed = rng.randrange(7)
        if deed == 0 and at < size:
            made[at] ^= 1 << rng.randrange(8)
        elif deed == 1 and at < size:
            made[at] = rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))
        elif deed == 2:
            del made[at : at + len(piece)]
        elif deed == 3:
            made[at:at] = piece * rng.choice((1, 2, 300))
        elif deed == 4:
            made[at:at] = rng.randbytes(rng.choice((1, 3, 40)))
        elif deed == 5:
            to = rng.randrange(size + 1)
            made[to : to + len(piece)] = piece
        elif rng.random() < 0.4:
            del made[at:]
    return bytes(made)


def text(rng: Random, written: str) -> str:
    """Text with a few of its words, numbers, quoted pieces and lines swapped, doubled, left out or replaced."""
    tokens = _TOKEN.findall(written)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        if not tokens:
            return rng.choice(STRINGS)
        at, other = rng.randrange(len(tokens)), rng.randrange(len(tokens))
        deed = rng.randrange(8)
        if deed == 0:
            tokens[at], tokens[other] = tokens[other], tokens[at]
        elif deed == 1:
            tokens.insert(other, tokens[at] * rng.choice((1, 2, 500)))
        elif deed == 2:
            del tokens[at : at + rng.choice((1, 1, 5, 40))]
        elif deed == 3:
            _replace(rng, tokens, lambda t: t[:1].isdigit(), rng.choice(NUMBERS))
        elif deed == 4:
            _replace(rng, tokens, lambda t: t[:1] == '"', f'"{_escaped(rng.choice(STRINGS))}"')
        elif deed == 5:
            tokens[at] = rng.choice(STRINGS)
        elif deed == 6:
            deep = rng.choice((3, 200, 5000))
            tokens[at] = rng.choice("[{(") * deep + tokens[at] + rng.choice("]})") * rng.choice((0, deep))
        else:
            lines = "".join(tokens).split("\n")
            rng.shuffle(lines) if rng.random() < 0.3 else lines.insert(rng.randrange(len(lines)), rng.choice(lines))
            tokens = _TOKEN.findall("\n".join(lines))
    return "".join(tokens)


def _replace(rng: Random, tokens: list[str], fits: Callable[[str], bool], by: str) -> None:
    places = [k for k, token in enumerate(tokens) if fits(token)]
    if places:
        tokens[rng.choice(places)] = by


def _escaped(string: str) -> str:
    return "".join(c if c.isprintable() and c not in '"\\' else f"\\u{ord(c):04x}" for c in string)


def tree(rng: Random, value: Any) -> Any:
    """Tables and lists (as TOML and JSON give them) with a few entries odd, left out, renamed, many or deep."""
    root = {"": value}
    for _ in range(rng.choice((1, 1, 2, 4))):
        holders = [h for h in _holders(root) if h]
        holder = rng.choice(holders)
        key = rng.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
        deed = rng.randrange(6)
        if deed == 0 and holder is not root:
            del holder[key]
        elif deed == 1 and isinstance(holder, dict) and holder is not root:
            holder[text(rng, str(key))] = holder[key]
        elif deed == 2 and isinstance(holder[key], list):
            holder[key] = holder[key] * rng.choice((2, 30, 3000))
        elif deed == 3:
            for _ in range(rng.choice((2, 40, 400))):
                holder[key] = [holder[key]] if rng.random() < 0.5 else {"a": holder[key]}
        elif deed == 4 and isinstance(holder[key], str):
            holder[key] = text(rng, holder[key])
        else:
            holder[key] = odd_value(rng)
    return root[""]


def _holders(value: Any) -> list[Any]:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return ([value] if isinstance(value, dict | list) else []) + [h for one in list(inner)[:200] for h in _holders(one)]


def odd_value(rng: Random) -> Any:
    """A value that hardly fits anywhere."""
    return rng.choice(
        (True, False, 0, -1, 2**63 - 1, -(2**63), 10**30, 0.0, -0.0, 1e308, float("nan"), float("inf"), [], {}, [[]],
         {"": ""}, [0] * 9000, list("abc"), rng.choice(STRINGS), rng.choice(STRINGS), rng.random(), rng.randrange(300))
    )  # fmt: skip


def toml(rng: Random, written: str) -> bytes:
    """The bytes of a TOML file that was damaged in one of the ways above, or in its encoding."""
    import tomllib

    import tomli_w

    way = rng.randrange(10)
    if way < 4:
        try:
            return tomli_w.dumps(tree(rng, tomllib.loads(written))).encode("utf-8", "surrogatepass")
        except (TypeError, ValueError, AttributeError, RecursionError):
            way = 5  # what came out has no form in TOML
    if way < 8:
        return text(rng, written).encode("utf-8", "surrogatepass")
    if way == 8:
        return written.encode(rng.choice(("utf-16", "utf-8-sig", "utf-32")))
    return blind(rng, written.encode())
