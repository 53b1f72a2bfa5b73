"""A published mean curve of knee flexion over the stride, to lay behind measured ones."""

from __future__ import annotations

from typing import Final

__all__ = ["PUBLISHED_CURVE_DEG", "PUBLISHED_CURVE_PERCENT", "PUBLISHED_CURVE_SOURCE", "PUBLISHED_CURVE_WHOSE"]

PUBLISHED_CURVE_WHOSE: Final = "typically developing children"
PUBLISHED_CURVE_SOURCE: Final = (
    "Schwartz MH, Rozumalski A, Trost JP 2008, J Biomech 41:1639-1650, as quoted in the open data file kneeflex.csv of "
    "github 0todd0000/detrend1d; the paper itself was not read, and the file does not say how fast they walked"
)
PUBLISHED_CURVE_PERCENT: Final = tuple(range(0, 101, 2))
"""Percent of the stride, from one initial contact to the next of the same side."""
PUBLISHED_CURVE_DEG: Final = (
    5.5, 7.9, 11.0, 14.4, 17.2, 18.9, 19.7, 19.6, 18.9, 18.0, 16.9, 15.7, 14.5, 13.2, 12.0, 10.8, 9.8,
    8.8, 7.9, 7.2, 6.8, 6.7, 7.1, 8.0, 9.5, 11.6, 14.4, 18.1, 22.6, 28.0, 34.1, 40.6, 47.0, 52.5,
    56.8, 59.4, 60.5, 60.0, 58.2, 55.0, 50.8, 45.5, 39.5, 32.9, 26.0, 19.0, 12.6, 7.5, 4.5, 3.8, 5.2,
)  # fmt: skip
"""Mean knee flexion in degrees (source above)."""
