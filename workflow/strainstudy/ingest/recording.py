"""One raw file to uniformly sampled channels, and a judgement that a person can act on.

In: a `Recording` of the checked study. Out: `Ingested`: a trace with the quantity ``raw`` for every channel that can be
used, and one row of ``tables/recordings.tsv``. Bad data never raises: a recording that cannot be used has no traces
and a reason, and where the reason was not foreseen the story of it for the log.
"""

from __future__ import annotations

import difflib
import traceback
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from ..errors import some_of
from ..faults import Fault, spans_in_words
from ..io.readers import RawFile, ReadError, read_raw
from ..io.readers.model import plain
from ..io.store import Trace
from ..records import Channel, Recording
from ..signal.jumps import find_jumps
from ..signal.quality import ChannelQuality, assess_channel
from ..signal.runs import runs
from ..tables.recordings import RECORDINGS
from ..vocabulary import BODY_TASKS, REFERENCE_SUFFIX, REFERENCE_UNITS, RESPONSE_UNITS, SIDE_OF_POINT
from .parameters import IngestParameters
from .silence import unobserved_words
from .timing import Grid, NoTimeError, make_grid

__all__ = ["Ingested", "ingest_recording", "trace_names"]

Array = npt.NDArray[np.float64]
_MOST_NAMES = 12
"""Columns that a reason names one by one (ours)."""
_LONGEST_NAME = 60
"""Letters of each that are shown (ours)."""
# Kinematics of gait lie below 6 Hz (Winter, Biomechanics and Motor Control of Human Movement): three times that.
LOWEST_BODY_RATE_HZ = 20.0
_UNIT_SPELLINGS = {
    "v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "millivolts": "mV",
    "ohm": "ohm", "ohms": "ohm", "ω": "ohm", "deg": "deg", "degree": "deg", "degrees": "deg", "°": "deg",
    "%": "percent", "percent": "percent", "mm": "mm",
}  # fmt: skip


@dataclass(frozen=True)
class Ingested:
    """What became of one recording.

    Parameters
    ----------
    traces : tuple of Trace
        Quantity ``raw``, in the units of the channel; empty if the recording is rejected.
    quality : dict
        One row of ``tables/recordings.tsv``.
    faults : tuple of Fault
        What is wrong with it; the words of all are its ``status_description``.
    story : str or None
        Where the reading failed in an unforeseen way: the trace, for the log.
    """

    traces: tuple[Trace, ...]
    quality: dict[str, Any]
    faults: tuple[Fault, ...] = ()
    story: str | None = None


class _RejectedError(Exception):
    """The recording cannot be used."""


def trace_names(channels: Sequence[Channel]) -> dict[str, str]:
    """Name the trace of each channel, keyed by the channel's own name.

    A channel in degrees beside a strain channel of the same tracked point is ``<point>:reference``.
    """
    strain = {channel.tracked_point for channel in channels if channel.units in RESPONSE_UNITS}
    return {
        channel.name: f"{channel.tracked_point}{REFERENCE_SUFFIX}"
        if channel.units == "deg" and channel.tracked_point in strain
        else channel.tracked_point
        for channel in channels
    }


def _listed(names: Sequence[str]) -> str:
    short = [name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME]}…" for name in names]
    return some_of(short, _MOST_NAMES)


def _in_file(channel: Channel, raw: RawFile) -> bool:
    return channel.name in raw.names or channel.name in raw.channels


def _present(recording: Recording, raw: RawFile, faults: list[Fault]) -> list[Channel]:
    """Choose the channels to use; say of each other one why not."""
    there = []
    for channel in recording.channels:
        if not _in_file(channel, raw):
            if not channel.shared:
                near = difflib.get_close_matches(channel.name, raw.names, n=1)
                hint = f"is it {near[0]!r}?" if near else f"the file has {_listed(raw.names)}"
                words = f"column {channel.name!r} of channels.tsv is not in the file: {hint}"
                faults.append(_of(channel, "channel left out", words))
        elif channel.status == "bad":
            words = f"column {channel.name!r} is marked bad in channels.tsv and was left out"
            faults.append(_of(channel, "channel left out", words))
        else:
            there.append(channel)
    if not there:
        if faults:
            raise _RejectedError("; ".join(fault.said for fault in faults))
        wanted = _listed([channel.name for channel in recording.channels])
        raise _RejectedError(
            f"none of the columns of channels.tsv ({wanted}) is in the file, which has {_listed(raw.names)};"
            " correct the names"
        )
    seen: dict[str, Channel] = {}
    for channel in there:
        name = trace_names(there)[channel.name]
        if name in seen:
            raise _RejectedError(
                f"columns {seen[name].name!r} and {channel.name!r} are both {name}; name the one to use in"
                " channels.tsv in a row for this recording"
            )
        seen[name] = channel
    return there


def _of(channel: Channel, kind: str, words: str, remedy: str | None = None) -> Fault:
    return Fault(kind, words, remedy, channel.tracked_point, channel.sensor_id)


def _unit_faults(channels: Sequence[Channel], raw: RawFile) -> list[Fault]:
    """Say where the file's own units are not those of the sheet."""
    faults = []
    for channel in channels:
        told = raw.channels[channel.name].units
        meant = None if told is None else _UNIT_SPELLINGS.get(told.lower())
        if meant is not None and meant != channel.units:
            words = (
                f"the file gives {channel.name!r} in {told}, channels.tsv in {channel.units}: channels.tsv was followed"
            )
            faults.append(_of(channel, "units", words))
    return faults


@dataclass(frozen=True)
class _Heard:
    """One channel with what tells nothing of the sensor taken out; spans are sample indices, end exclusive."""

    values: Array
    quality: ChannelQuality
    silent: npt.NDArray[np.intp]
    displaced: npt.NDArray[np.intp]


def _heard(channel: Channel, values: Array, rate: float, parameters: IngestParameters) -> _Heard:
    """Assess a channel and take out what was unplugged or stuck, and of a knee what lies beyond a jump."""
    quality = assess_channel(
        values,
        rate,
        dead_s=parameters.dead_s,
        rails=channel.units in RESPONSE_UNITS,
        holds=channel.units in REFERENCE_UNITS.values(),
    )
    silent, displaced = quality.dead, np.empty((0, 2), dtype=np.intp)
    if len(quality.dead):
        values = _without(values, quality.dead)
    if channel.tracked_point in SIDE_OF_POINT and channel.units in RESPONSE_UNITS and not quality.constant:
        jumps = find_jumps(values, rate)
        silent, displaced = _joined(silent, jumps.silent), jumps.displaced
        if jumps.at:
            values = _without(values, np.concatenate([jumps.silent, displaced]))
    return _Heard(values, quality, silent, displaced)


def _without(values: Array, spans: npt.NDArray[np.intp]) -> Array:
    values = values.copy()
    for start, end in spans:
        values[start:end] = np.nan
    return values


def _joined(one: npt.NDArray[np.intp], other: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    both = np.concatenate([one, other])
    return both[np.argsort(both[:, 0], kind="stable")]


def _channel_fault(channel: Channel, heard: _Heard, limit: float) -> Fault | None:
    """Say why a channel cannot be used at all, or nothing."""
    point, quality = channel.tracked_point.replace("_", " "), heard.quality
    what = f"column {channel.name!r} ({point})"
    if quality.fraction(quality.missing) == 1.0:
        return _of(channel, "channel left out", f"{what} has no values: look at the plug and the export")
    if quality.constant:
        return _of(channel, "channel left out", f"{what} has one value throughout: the sensor was not connected")
    for spans, kind, words in (
        (quality.missing, "missing samples", "has no value for"),
        (heard.silent, "no signal", "was unplugged or stuck for"),
        (heard.displaced, "jump", "jumps between levels: away from the longest for"),
        (quality.clipped, "saturated", "is saturated for"),
    ):
        share = quality.fraction(spans)
        if share > limit:
            return _of(channel, kind, f"{what} {words} {share:.0%} of the recording")
    if quality.noise_only:
        words = f"{what} holds noise or hum and no signal: the sensor was not connected, or nothing moved"
        return _of(channel, "channel left out", words)
    return None


def _times(spans: npt.NDArray[np.intp]) -> str:
    return "once" if len(spans) == 1 else f"{len(spans)} times"


def _channel_notes(channel: Channel, heard: _Heard, rate: float, parameters: IngestParameters) -> list[Fault]:
    """Say what is wrong with a channel that is used all the same."""
    faults, quality = [], heard.quality
    left = np.zeros(quality.n, dtype=bool)
    for start, end in heard.displaced:
        left[start:end] = True
    railed = np.zeros(quality.n, dtype=bool)
    for start, end in quality.clipped:
        railed[start:end] = True
    clipped, beyond = float((railed & ~left).mean()), float((railed & left).mean())
    if clipped > parameters.degraded_clipped:
        words = f"{channel.name!r} is saturated for {clipped:.2%} of the time"
        faults.append(_of(channel, "saturated", words, "lower the gain"))
    for spans, kind, what, done in (
        (heard.silent, "no signal", "gives no signal", "unplugged or stuck, and taken as missing"),
        (heard.displaced, "jump", "jumps to another level", "left out, as it is not calibrated there"),
    ):
        share = quality.fraction(spans)
        if share > 0:
            where = spans_in_words((start / rate, end / rate) for start, end in spans.tolist())
            rails = f", saturated for {beyond:.2%}" if kind == "jump" and beyond > 0 else ""
            words = f"{channel.name!r} {what} {_times(spans)}, {where} ({share:.1%} of the time{rails}): {done}"
            faults.append(_of(channel, kind, words))
    return faults


def _row(recording: Recording, **values: Any) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(RECORDINGS.names)
    row.update(
        recording_id=recording.recording_id,
        participant_id=recording.participant_id,
        session_id=recording.session_id,
        task=recording.task,
        file=recording.file,
        **values,
    )
    return row


def _time_row(grid: Grid) -> dict[str, Any]:
    base = grid.base
    return {
        "sampling_frequency": base.sampling_frequency,
        "duration": base.duration,
        "time_source": grid.source,
        "stamped_frequency": base.rate if grid.source.startswith("column") else None,
        "repeated_stamps": base.repeated_stamps,
        "backward_stamps": base.backward_stamps,
        "missing_stamps": base.missing_stamps,
        "stamp_jitter": base.jitter,
    }


def _missing_row(traces: Sequence[Trace], rate: float) -> dict[str, Any]:
    """Count what is missing in the channels in use."""
    lost = [np.isnan(trace["raw"]) for trace in traces]
    gaps = runs(np.logical_or.reduce(lost)) if any(mask.any() for mask in lost) else np.empty((0, 2), dtype=int)
    return {
        "missing_fraction": float(np.mean([mask.mean() for mask in lost])),
        "gap_count": len(gaps),
        "longest_gap": float((gaps[:, 1] - gaps[:, 0]).max() / rate) if len(gaps) else 0.0,
        "unobserved": unobserved_words({trace.tracked_point: trace["raw"] for trace in traces}, rate),
    }


def _ingest(
    recording: Recording, parameters: IngestParameters, row: dict[str, Any]
) -> tuple[tuple[Trace, ...], list[Fault]]:
    names = [channel.name for channel in recording.channels if channel.status != "bad"]
    if recording.time_column is not None:
        names.append(recording.time_column)
    try:
        raw = read_raw(recording.path, names, round(parameters.largest_unpacked_gb * 1e9))
    except ReadError as error:
        raise _RejectedError(error.reason) from error
    row.update(file_format=plain(raw.layout), started=raw.started and plain(raw.started))
    faults = [Fault("damaged file", words) for words in raw.faults]
    channels = _present(recording, raw, faults)
    wanted = {channel.name for channel in channels} | {recording.time_column}
    kept = {name: channel for name, channel in raw.channels.items() if name in wanted}
    try:
        grid = make_grid(RawFile(raw.layout, raw.names, kept, raw.started), recording, parameters)
    except NoTimeError as error:
        raise _RejectedError(str(error)) from None
    row.update(_time_row(grid), started=row["started"] or grid.started)
    faults += [*_unit_faults(channels, raw), *(Fault("time stamps", words) for words in grid.faults)]
    rate = grid.base.sampling_frequency
    if grid.base.duration < parameters.shortest_s:
        raise _RejectedError(
            f"only {grid.base.duration:.2f} s long; less than {parameters.shortest_s:g} s tells nothing"
        )
    if recording.task in BODY_TASKS and rate < LOWEST_BODY_RATE_HZ:
        raise _RejectedError(
            f"sampled at {rate:.3g} Hz; steps and swallows need at least {LOWEST_BODY_RATE_HZ:g} Hz:"
            " record faster, or correct the time"
        )
    traces, left_out, lost, clipped, gaps = [], [], [], 0.0, []
    points = trace_names(channels)
    for channel in channels:
        heard = _heard(channel, grid.channels[channel.name], rate, parameters)
        quality = heard.quality
        fault = _channel_fault(channel, heard, parameters.rejected_fraction)
        if fault is not None:
            lost.append(fault)
            left_out.append(channel.name)
            continue
        faults += _channel_notes(channel, heard, rate, parameters)
        clipped = max(clipped, quality.fraction(quality.clipped))
        gaps.append(quality.fraction(quality.missing))
        rails = tuple((start / rate, end / rate) for start, end in quality.clipped.tolist())
        name = points[channel.name]
        traces.append(Trace(recording.recording_id, name, channel.units, rate, {"raw": heard.values}, rails))
    absent = [c.name for c in recording.channels if not c.shared and c not in channels]
    row["channels_left_out"] = ", ".join([*absent, *left_out]) or None
    row["clipped_fraction"] = clipped
    if not traces:
        raise _RejectedError("; ".join(fault.said for fault in lost))
    faults = [*(replace(fault, words=f"{fault.words}; it was left out") for fault in lost), *faults]
    row.update(_missing_row(traces, rate))
    row["channels"] = ", ".join(trace.tracked_point for trace in traces)
    # what was taken out of a channel has been said already
    missing = float(np.mean(gaps))
    if missing > parameters.degraded_missing:
        count = f"{row['gap_count']} gap{'' if row['gap_count'] == 1 else 's'}"
        faults.append(Fault("missing samples", f"{missing:.1%} of the samples are missing, in {count}"))
    row["status"] = "degraded" if faults else "good"
    row["status_description"] = plain("; ".join(fault.said for fault in faults)) or None
    return tuple(traces), faults


def _rejected(row: dict[str, Any], reason: str, unforeseen: BaseException | None) -> Ingested:
    row.update(status="rejected", status_description=plain(reason))
    fault = Fault("unreadable", plain(reason))
    story = None if unforeseen is None else "".join(traceback.format_exception(unforeseen))
    return Ingested((), row, (fault,), story)


def ingest_recording(recording: Recording, parameters: IngestParameters) -> Ingested:
    """Read one recording, bring it to a uniform time grid and judge it.

    Parameters
    ----------
    recording : Recording
        Of a checked study.
    parameters : IngestParameters
        Settings.

    Returns
    -------
    Ingested
        A channel that was not connected is left out and the recording degraded; without any channel, time or
        readable file it is rejected. ``quality["status_description"]`` says why and what to do.
    """
    row = _row(recording)
    try:
        traces, faults = _ingest(recording, parameters, row)
    except _RejectedError as error:
        read = error.__cause__
        return _rejected(row, str(error), read.__cause__ if isinstance(read, ReadError) else None)
    except Exception as error:  # one recording must not end the others
        words = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        reason = f"the file {recording.file!r} could not be brought to uniform samples ({words}); look at its values"
        return _rejected(_row(recording), reason, error)
    return Ingested(traces, row, tuple(replace(fault, words=plain(fault.words)) for fault in faults))
