"""Seeded damage to good bytes, and how many damaged files a run tries."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence

import numpy as np

__all__ = ["WORDS", "mutants", "number_of_mutations"]

Splice = Callable[[bytes, np.random.Generator], bytes]

WORDS = (
    b"\0", b"\xff", b"\n", b"\r", b"\t", b'"', b",", b";", b".", b"-", b"1e308", b"-1e308", b"inf", b"nan", b"NaN",
    b"OL", b"---", b"1,023", b"1.023", b"99999999999999999999", b"-1", b"0", b"9223372036854775807",
    b"2024-05-03 10:11:12", b"31.12.9999 23:59:59", b"00:00:00", b"\xef\xbb\xbf", b"\xff\xfe", b"\x1f\x8b", b"\0" * 64,
    b"\xff" * 8, b"\x00\x00\x00\x80", b"\xff\xff\xff\x7f", "µ°Ω∞".encode(), b"\xed\xa0\x80", b"=1+1", b"n/a", b"#",
    b" ", b"1e5",
)  # fmt: skip
"""Bytes and cells on which readers of text and of binary formats are known to stumble."""


def number_of_mutations(few: int) -> int:
    """Say how many damaged files to try: ``few`` in the suite, else what FUZZ_MUTATIONS says."""
    return int(os.environ.get("FUZZ_MUTATIONS", few))


def _damaged(content: bytes, rng: np.random.Generator) -> bytes:
    """Damage bytes once: flip, overwrite, insert, leave out, repeat, swap or cut."""
    data = bytearray(content)
    size = max(len(data), 1)
    at, length = int(rng.integers(size)), int(min(rng.geometric(0.1), 200))
    word = WORDS[rng.integers(len(WORDS))]
    match int(rng.integers(8)):
        case 0:
            data[at : at + 1] = bytes([int(rng.integers(256))])
        case 1:
            data[at : at + len(word)] = word
        case 2:
            data[at:at] = word
        case 3:
            del data[at : at + length]
        case 4:
            data[at:at] = bytes(data[at : at + length]) * int(rng.integers(1, 4))
        case 5:
            other = int(rng.integers(size))
            data[at : at + length] = content[other : other + length]
        case 6:
            for place in rng.integers(size, size=length):
                data[place : place + 1] = bytes([int(rng.integers(256))])
        case _:
            data = data[:at]
    return bytes(data)


def mutants(
    seeds: Sequence[bytes], count: int, seed: int, structured: Sequence[Splice] = ()
) -> Iterator[tuple[int, int, bytes]]:
    """Give damaged copies of good files, the same ones for the same seed.

    Parameters
    ----------
    seeds : sequence of bytes
        Good files.
    count : int
        How many.
    seed : int
        Of the random numbers; each mutant has a stream of its own, so that one can be made again by its number.
    structured : sequence of functions
        Damage that knows the format: overwrites a count, swaps fields.

    Yields
    ------
    int, int, bytes
        Number of the mutant, number of the good file it comes from, content.
    """
    for number in range(count):
        rng = np.random.Generator(np.random.PCG64([seed, number]))
        which = int(rng.integers(len(seeds)))
        content = seeds[which]
        for _ in range(int(rng.geometric(0.5))):
            if structured and rng.random() < 0.5:
                content = structured[rng.integers(len(structured))](content, rng)
            else:
                content = _damaged(content, rng)
        yield number, which, content
