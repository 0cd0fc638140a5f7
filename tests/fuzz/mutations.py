"""Mutations: small damage to good files, of the kinds that readers stumble over."""

import random
import re
from collections.abc import Callable

__all__ = ["MUTATIONS", "mutate"]

NUMBERS = (
    *(b"1e400", b"-1e400", b"nan", b"inf", b"-0", b"-0.0", b"1e-400", b"9" * 400, b"0x1F"),
    *(
        b"1_000",
        b"1,5",
        b"1.5e308",
        b"-1.5e308",
        b"9223372036854775808",
        b"2147483648",
        b"4294967295",
    ),
    *(b"", b" ", b"0", b"-1", b"1e18", b"1e308", "\u0663".encode(), b"1e", b"--1", b"99999999999"),
)
TEXTS = (
    *(b"\0", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe", b"\r", b"\n", b"\r\n", b"\x85", b"\x1c"),
    *("\u2028".encode(), "\u202e".encode(), b"\xed\xa0\x80", b'"', b"'", b'"""', b",", b";"),
    *(b"\t", b"|", b"#", b"=", b"[", b"]]", b"{", b"}", b"$", b"*", b"<", b"&a;", b"<!DOCTYPE a>"),
    *(
        b"../",
        b"/vsicurl/http://127.0.0.1:9/",
        b"PG:dbname=a",
        b"EPSG:4326",
        b"+init=/etc/passwd:a",
    ),
)
_NUMBER = re.compile(rb"[-+]?\d+\.?\d*(?:e[-+]?\d+)?")
_PAIRS = (b"[]", b"{}", b"()")


def _place(data: bytes, source: random.Random) -> int:
    return source.randrange(len(data) + 1)


def _span(data: bytes, source: random.Random) -> tuple[int, int]:
    begin = _place(data, source)
    return begin, min(begin + source.choice((1, 2, 4, 8, 64, 1024)), len(data))


def _cut(data: bytes, source: random.Random) -> bytes:
    return data[: _place(data, source)]


def _drop(data: bytes, source: random.Random) -> bytes:
    begin, end = _span(data, source)
    return data[:begin] + data[end:]


def _flip(data: bytes, source: random.Random) -> bytes:
    damaged = bytearray(data)
    for _ in range(source.choice((1, 1, 2, 8))):
        if damaged:
            damaged[source.randrange(len(damaged))] ^= 1 << source.randrange(8)
    return bytes(damaged)


def _overwrite(data: bytes, source: random.Random) -> bytes:
    """Put extreme whole numbers where a binary file has lengths, counts and places."""
    width = source.choice((1, 2, 4, 8))
    value = source.choice(
        (0, 1, 2**7, 2**15 - 1, 2**31 - 1, 2**31, 2**32 - 1, 2**63 - 1, 2**64 - 1)
    )
    told = (value % 256**width).to_bytes(width, source.choice(("little", "big")))
    begin = _place(data[:512] if source.random() < 0.5 else data, source)
    return data[:begin] + told + data[begin + width :]


def _repeat(data: bytes, source: random.Random) -> bytes:
    begin, end = _span(data, source)
    return data[:end] + data[begin:end] * source.choice((1, 2, 50)) + data[end:]


def _splice(data: bytes, source: random.Random) -> bytes:
    begin, end = _span(data, source)
    place = _place(data, source)
    return data[:place] + data[begin:end] + data[place:]


def _number(data: bytes, source: random.Random) -> bytes:
    found = list(_NUMBER.finditer(data[:65_536]))
    if not found:
        return _insert(data, source)
    one = source.choice(found)
    return data[: one.start()] + source.choice(NUMBERS) + data[one.end() :]


def _insert(data: bytes, source: random.Random) -> bytes:
    place = _place(data, source)
    return data[:place] + source.choice(TEXTS) + data[place:]


def _nest(data: bytes, source: random.Random) -> bytes:
    pair, deep, place = source.choice(_PAIRS), source.choice((3, 1500)), _place(data, source)
    return data[:place] + pair[:1] * deep + pair[1:] * deep + data[place:]


def _rows(data: bytes, source: random.Random) -> bytes:
    lines = data.split(b"\n")
    one = source.randrange(len(lines))
    what = source.randrange(4)
    if what == 0:
        lines[one] = lines[one] + source.choice((b",", b";", b" 1", b"," * 5000))
    elif what == 1:
        lines.insert(one, lines[source.randrange(len(lines))])
    elif what == 2:
        del lines[one]
    else:
        lines.append(lines.pop(one))
    return b"\n".join(lines)


def _recode(data: bytes, source: random.Random) -> bytes:
    """Write a text anew in another encoding, or with another delimiter."""
    if source.random() < 0.5:
        return data.replace(b",", source.choice((b";", b"\t", b"|", b" ", b"", b",,", b"\0")))
    text = data.decode("utf-8", "replace")
    return text.encode(
        source.choice(("utf-16", "utf-16-be", "utf-32", "utf-8-sig", "cp037")), "replace"
    )


MUTATIONS: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    *(_cut, _drop, _flip, _overwrite, _repeat, _splice, _number, _number, _insert, _nest),
    *(_rows, _recode),
)


def mutate(data: bytes, source: random.Random, *, most: int = 4, size: int = 2**20) -> bytes:
    """Damage some bytes in one to `most` ways; at most `size` bytes are left.

    Parameters
    ----------
    data : bytes
        A good file, or one that is damaged already.
    source : Random
        Seeded: the same damage every time.
    most, size : int
        Ways of damage, bytes.
    """
    for _ in range(source.randint(1, most)):
        data = source.choice(MUTATIONS)(data, source)
    return data[:size]
