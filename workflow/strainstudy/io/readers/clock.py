"""Dates and times of day to seconds, for whole columns at once.

In: a column of texts such as ``2024-05-03T10:11:12.345``, ``03.05.2024 10:11:12,345`` or ``10:11:12``. Out: seconds
from the first of them; a clock without a date that passes midnight goes on counting.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from .model import ReadError

__all__ = ["clock_seconds"]

# The first that fits every date and keeps them within a week is taken: over one day the order of day and
# month cannot matter, and over midnight the wrong order jumps by a month.
_DATES = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y")
_PATTERN = (
    r"^(?:(?P<date>[\d./-]+)[ T])?(?P<hour>\d{1,2}):(?P<minute>[0-5]\d)(?::(?P<second>(?:[0-5]\d|60)(?:[.,]\d+)?))?"
    r"(?:Z|[+-]\d{2}:?\d{2})?$"
)
_DAY = 86400.0
"""Seconds of a day."""
_LONGEST_DAYS = 7
"""A recording lasts no longer, where the order of day and month must be told."""
_PLAIN_DATES = _DATES[:4]
_ANY_DAYS = 10**7
"""Where the order is plain, any length will do."""


def _number(parts: pa.Array, name: str) -> npt.NDArray[np.float64]:
    texts = pc.replace_substring(pc.struct_field(parts, name), ",", ".")
    filled = pc.if_else(pc.equal(texts, ""), "0", texts)
    numbers: npt.NDArray[np.float64] = pc.cast(filled, pa.float64()).to_numpy(zero_copy_only=False)
    return numbers


def _days(dates: pa.Array) -> tuple[npt.NDArray[np.float64], dt.date | None]:
    """Count the days from the first date; missing stay NaN."""
    encoded = dates.dictionary_encode()
    words = encoded.dictionary.to_pylist()
    place = encoded.indices.to_numpy(zero_copy_only=False).astype(float)
    known = [i for i, word in enumerate(words) if word]
    if not known:
        return np.where(np.isnan(place), np.nan, 0.0), None
    # a clock that is set late jumps by years: only an order of day and month that is not in doubt may do so
    for form, longest in [(form, _LONGEST_DAYS) for form in _DATES] + [(form, _ANY_DAYS) for form in _PLAIN_DATES]:
        try:
            days = {i: dt.datetime.strptime(words[i], form).date() for i in known}
        except ValueError:
            continue
        span = (max(days.values()) - min(days.values())).days
        if span <= longest:
            first = days[known[0]]
            table = np.array([(days[i] - first).days if i in days else np.nan for i in range(len(words))])
            out = np.full(len(place), np.nan)
            here = ~np.isnan(place)
            out[here] = table[place[here].astype(int)]
            return out, first
    raise ReadError(f"the dates of the time column ({words[known[0]]!r}, ...) cannot be read; write YYYY-MM-DD")


def clock_seconds(texts: pa.Array) -> tuple[npt.NDArray[np.float64], str | None]:
    """Read a column of dates or times of day.

    Parameters
    ----------
    texts : pyarrow string array, length n
        The cells; null where missing.

    Returns
    -------
    array, shape (n,)
        Seconds from the first; NaN where a cell is missing or is not a time.
    str or None
        The first as ISO 8601 (a time alone if there is no date).

    Raises
    ------
    ReadError
        If the dates fit no known order of year, month and day.
    """
    parts = pc.extract_regex(pc.utf8_trim_whitespace(texts), _PATTERN)
    days, first_day = _days(pc.struct_field(parts, "date"))
    in_day = 3600.0 * _number(parts, "hour") + 60.0 * _number(parts, "minute") + _number(parts, "second")
    good = np.flatnonzero(~np.isnan(in_day) & ~np.isnan(days))
    if good.size == 0:
        return np.full(len(in_day), np.nan), None
    if first_day is None:
        steps = np.diff(in_day[good], prepend=in_day[good[0]])
        days[good] = np.cumsum(np.where(steps < -_DAY / 2, 1.0, 0.0))
    first = good[0]
    seconds = (days - days[first]) * _DAY + (in_day - in_day[first])
    micro = round(in_day[first] * 1e6)
    clock = (dt.datetime.min + dt.timedelta(microseconds=micro)).time().isoformat()
    return seconds, clock if first_day is None else f"{first_day.isoformat()}T{clock}"
