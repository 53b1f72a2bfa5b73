"""Which way is flexion: inferred from the pattern of walking, never assumed.

In: how well each knee fits the published pattern the right way up and upside down, and how much the knees swing in
turn with each choice. Out: a sign per knee with the evidence for it. A knee is bent deeply and briefly in swing and
nearly straight for the rest (skewed upwards), and the two knees swing in turn; both facts are used together,
because a stiff knee alone can look much the same either way up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

__all__ = ["Polarity", "infer_polarity"]

BETWEEN_WEIGHT = 0.15
"""Worth of the knees swinging in turn, beside the difference of the two fits of a normal knee (about 0.3): enough to
turn a stiff knee that looks alike either way up, not enough to turn one of two clear knees that bend together."""
CLEAR_MARGIN = 0.2
"""Margin from which on a direction is certain: recorded normal and limping walks have 0.22 and more with both knees."""
ALIKE = 0.02
"""Worth of equal signs: sensors on both knees are usually mounted alike (ours); decides only what nothing else does."""


@dataclass(frozen=True)
class Polarity:
    """Sign of one knee and how certain it is.

    Parameters
    ----------
    sign : int
        1 when the curve rises with flexion, -1 when it falls.
    margin : float
        How much better the evidence is than with this sign turned; 0 is a toss-up, a normal knee has 0.3 or more.
    """

    sign: int
    margin: float

    @property
    def clearly_falls(self) -> bool:
        """Whether the curve certainly falls with flexion."""
        return self.sign < 0 and self.margin >= CLEAR_MARGIN


def infer_polarity(
    fits: Mapping[str, tuple[float, float]], between: Mapping[tuple[int, int], float] | None
) -> dict[str, Polarity]:
    """Choose the signs that explain all knees best.

    Parameters
    ----------
    fits : mapping of side to (float, float)
        Fit to the pattern upright and inverted: correlation with the published knee curve, median over strides.
    between : mapping of (int, int) to float, optional
        How much the knees swing in turn, -1 to 1, for each pair of signs (in the order of ``fits``);
        None with one knee.

    Returns
    -------
    dict of side to Polarity
    """
    sides = list(fits)
    lead = {side: upright - inverted for side, (upright, inverted) in fits.items()}
    # a pattern without a right way up (a bend like a sine) does not say that the knees should take turns
    weight = min(BETWEEN_WEIGHT, max((abs(one) for one in lead.values()), default=0.0))

    def worth(signs: tuple[int, ...]) -> float:
        own = sum(sign * lead[side] for sign, side in zip(signs, sides, strict=True))
        if between is None:
            return own
        return own + weight * between[signs[0], signs[1]] + ALIKE * signs[0] * signs[1]

    options = list(product((1, -1), repeat=len(sides)))
    best = max(options, key=worth)
    found = {}
    for place, side in enumerate(sides):
        rival = max(worth(signs) for signs in options if signs[place] != best[place])
        found[side] = Polarity(sign=best[place], margin=(worth(best) - rival) / 2.0)
    return found
