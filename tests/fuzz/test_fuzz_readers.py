"""Damaged raw files: a reader gives samples or a reason in words, and one recording never ends the others.

A few hundred mutants of each format in the suite; as many as FUZZ_MUTATIONS says by ``make fuzz``. A mutant is made
again from its number: ``mutants(seeds, number + 1, SEED, ...)``.
"""

from __future__ import annotations

import datetime as dt
import gzip
import io
import resource
import signal
import struct
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import edfio
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from mutations import mutants, number_of_mutations
from nptdms import ChannelObject, RootObject, TdmsWriter
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.ingest.recording import ingest_recording
from strainstudy.io.readers import ReadError, peek, read_raw
from strainstudy.records import Channel, Recording

SEED = 20
N = 60
T = np.arange(N) / 20
LEFT = np.round(1 + 0.4 * np.sin(3 * T), 4)
COUNTS = 1_714_731_072_000_000_000 + np.arange(N) * 50_000_000
SMALL = IngestParameters(largest_unpacked_gb=0.02)
LONGEST_S = 20
MOST_MEMORY = 3_000_000_000
CAUGHT = ("the file cannot be read (", "could not be brought to uniform samples (")
"""How the last nets below all files begin: what a fuzzer finds there deserves a reason of its own."""


def texts() -> list[bytes]:
    plain = "time_s,left,throat\n" + "".join(f"{t:.2f},{v:.4f},{v / 3:.5f}\n" for t, v in zip(T, LEFT, strict=True))
    clock = "".join(
        f"2024-05-03 10:11:{t:06.3f};{v:.4f};{900 + i}\n" for i, (t, v) in enumerate(zip(T, LEFT, strict=True))
    )
    counts = "".join(f"{c},{v},OL\n" for c, v in zip(COUNTS, LEFT, strict=True))
    return [
        plain.encode(),
        (
            'Recorder 7\n"Note\tnone"\n\ntime_s;left;throat\ns;V;mV\n' + plain.split("\n", 1)[1].replace(",", ";")
        ).encode(),
        plain.replace(",", "\t").replace(".", ",").replace("\n", "\r\n").encode("cp1252"),
        ("time_s;left;throat\n" + clock).encode("utf-16"),
        ("time_s;left;throat\n" + clock.replace(".", ",")).encode(),
        ("time_s,left,throat\n" + counts).encode(),
    ]


def parquets() -> list[bytes]:
    tables = [
        {"time_s": T, "left": LEFT, "throat": LEFT.astype(np.float32)},
        {"time_s": COUNTS.astype("datetime64[ns]"), "left": LEFT, "throat": np.arange(N)},
        {
            "time_s": COUNTS,
            "left": pa.array(LEFT.tolist()).dictionary_encode(),
            "throat": [f"10:11:{t:06.3f}" for t in T],
        },
    ]
    made = []
    for table in tables:
        for options in ({}, {"compression": "none", "use_dictionary": False, "write_statistics": False}):
            out = io.BytesIO()
            pq.write_table(pa.table(table), out, **options)
            made.append(out.getvalue())
    return made


def edfs() -> list[bytes]:
    made = []
    for kind, file in ((edfio.EdfSignal, edfio.Edf), (edfio.BdfSignal, edfio.Bdf)):
        for notes in (None, [edfio.EdfAnnotation(0.5, None, "on")]):
            signals = [
                kind(LEFT, 20, label="left", physical_dimension="V", physical_range=(0, 2)),
                kind(LEFT[:30], 10, label="throat", physical_range=(0, 2)),
            ]
            out = io.BytesIO()
            file(signals, starttime=dt.time(10, 11, 12), data_record_duration=1, annotations=notes).write(out)
            content = out.getvalue()
            made += [content, content[:192] + content[192:236].replace(b"+C", b"+D") + content[236:]]
    return made


def tdmss() -> list[bytes]:
    start = np.datetime64("2024-05-03T10:11:12.000000", "us")
    waveform = {"wf_increment": 0.05, "wf_start_time": start, "wf_start_offset": 0.0, "unit_string": "V"}
    made = []
    for channels in (
        [ChannelObject("k", "left", LEFT, waveform), ChannelObject("k", "throat", LEFT, waveform)],
        [ChannelObject("k", "time_s", COUNTS.astype("datetime64[us]")), ChannelObject("k", "left", np.arange(N))],
        [ChannelObject("k", "time_s", COUNTS), ChannelObject("k", "left", LEFT), ChannelObject("j", "left", LEFT)],
    ):
        out = io.BytesIO()
        with TdmsWriter(out) as writer:
            writer.write_segment([RootObject(), *channels])
            writer.write_segment([RootObject(), *channels])
        made.append(out.getvalue())
    return made


def swap_lines(content: bytes, rng: np.random.Generator) -> bytes:
    lines = content.split(b"\n")
    one, two = rng.integers(len(lines), size=2)
    lines[one], lines[two] = lines[two], lines[one]
    return b"\n".join(lines)


def another_cell(content: bytes, rng: np.random.Generator) -> bytes:
    lines = content.split(b"\n")
    at = int(rng.integers(len(lines)))
    words = (
        b"OVER",
        b"1,023",
        b"1.023.456",
        b"",
        b'"',
        b"1e400",
        b"-inf",
        b"x" * 3000,
        b"\0" * 500,
        b"31.02.2024 1:00",
    )
    separator = b";" if b";" in lines[at] else b","
    cells = lines[at].split(separator)
    cells[rng.integers(len(cells))] = words[rng.integers(len(words))]
    lines[at] = separator.join(cells)
    return b"\n".join(lines)


def another_code(content: bytes, rng: np.random.Generator) -> bytes:
    codes = ("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "cp1252", "utf-32")
    return content.decode("latin-1").encode(codes[rng.integers(len(codes))], errors="replace")


def edf_field(content: bytes, rng: np.random.Generator) -> bytes:
    """Overwrite a header field with what a count, a limit or a duration must not be, or swap two of them."""
    fixed = ((0, 8), (168, 8), (176, 8), (184, 8), (192, 44), (236, 8), (244, 8), (252, 4))
    signals = 3
    offsets = (0, 96, 104, 112, 120, 128, 216)
    fields = [*fixed, *((256 + signals * o + 8 * i, 8) for o in offsets for i in range(signals))]
    at, width = fields[rng.integers(len(fields))]
    words = (
        b"0",
        b"-1",
        b"1",
        b"2",
        b"99999999",
        b"1e300",
        b"inf",
        b"nan",
        b"",
        b"1e-300",
        b"EDF+D",
        b"-0",
        b"4096",
        b"0.1",
    )
    if rng.random() < 0.3:
        other = fields[rng.integers(len(fields))][0]
        new = content[other : other + width].ljust(width)[:width]
    else:
        new = words[rng.integers(len(words))].ljust(width)[:width]
    return content[:at] + new + content[at + width :]


def edf_onset(content: bytes, rng: np.random.Generator) -> bytes:
    onsets = (b"+0\x14", b"+1e9\x14", b"-5\x14", b"+99999999\x14", b"+0.5\x14", b"+\x14", b"+2\x14")
    return content.replace(b"+1\x14", onsets[rng.integers(len(onsets))], 1)


def another_count(content: bytes, rng: np.random.Generator) -> bytes:
    """Overwrite four or eight bytes with a length or a count that cannot be."""
    counts = (0, 1, 2**31 - 1, 2**31, 2**32 - 1, 2**40, 2**62, 2**63 - 1, 2**64 - 1, len(content), 16, 255)
    value = counts[rng.integers(len(counts))]
    packed = struct.pack("<Q", value) if rng.random() < 0.5 else struct.pack("<I", value % 2**32)
    at = int(rng.integers(max(len(content) - 8, 1)))
    return content[:at] + packed + content[at + len(packed) :]


def packed_count(content: bytes, rng: np.random.Generator) -> bytes:
    """Overwrite a byte of the footer with the start of a long variable-length integer (Thrift compact protocol)."""
    if len(content) < 12:
        return content
    length = min(int.from_bytes(content[-8:-4], "little"), len(content) - 8)
    at = len(content) - 8 - int(rng.integers(length + 1))
    new = (b"\xff\xff\xff\xff\x0f", b"\xfe\xff\xff\xff\xff\x01", b"\x80\x80\x80\x80\x10", b"\x00", b"\x01")[
        rng.integers(5)
    ]
    return content[:at] + new + content[at + len(new) :]


def regzip(content: bytes, rng: np.random.Generator) -> bytes:
    """Damage the text within, so that not every fault is one of the packing."""
    try:
        inside = gzip.decompress(content)
    except Exception:
        return content
    return gzip.compress((swap_lines, another_cell, another_code)[rng.integers(3)](inside, rng), mtime=0)


def bomb(content: bytes, rng: np.random.Generator) -> bytes:
    """Let the packed text go on for more than may be read."""
    return content + gzip.compress(b"0.01,1.5,2.5\n" * int(rng.integers(1, 2_000_000)), 1, mtime=0)


SIDECARS = {
    "channels.tsv": "name\ttype\tunits\ntime_s\tLATENCY\ts\nleft\tMISC\tV\nthroat\tMISC\tV\n",
    "motion.json": "{}",
}
"""What lies beside a motion file."""


def motions() -> list[bytes]:
    """Samples without a header, as the sidecars name them."""
    rows = [
        f"{t:.2f}\t{v!r}\t{'n/a' if k % 9 == 0 else v}\n" for k, (t, v) in enumerate(zip(T, LEFT.tolist(), strict=True))
    ]
    return ["".join(rows).encode(), "".join(rows).removesuffix("\n").encode()]


Target = tuple[Callable[[], list[bytes]], Sequence[Callable[[bytes, np.random.Generator], bytes]]]
TARGETS: dict[str, Target] = {
    "csv": (texts, (swap_lines, another_cell, another_code)),
    "csv.gz": (lambda: [gzip.compress(text, mtime=0) for text in texts()], (regzip, regzip, regzip, regzip)),
    "parquet": (parquets, (another_count, packed_count)),
    "edf": (lambda: [c for c in edfs() if c[:1] == b"0"], (edf_field, edf_onset, another_count)),
    "bdf": (lambda: [c for c in edfs() if c[:1] != b"0"], (edf_field, edf_onset)),
    "tdms": (tdmss, (another_count,)),
    "_motion.tsv": (motions, (swap_lines, another_cell, another_code)),
}


class TooLongError(BaseException):
    """A mutant took longer than any file of its size may; no reader can take it for a fault of the file."""


@pytest.fixture
def bounded() -> Iterator[None]:
    """Bound the memory of this process, and the time of each mutant."""

    def stop(*_: object) -> None:
        raise TooLongError

    before = resource.getrlimit(resource.RLIMIT_AS)
    handler = signal.signal(signal.SIGALRM, stop)
    used = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + MOST_MEMORY, before[1]))
    yield
    signal.alarm(0)
    resource.setrlimit(resource.RLIMIT_AS, before)
    signal.signal(signal.SIGALRM, handler)


def recording(path: Path, number: int) -> Recording:
    channels = (Channel("left", "left_knee", "V", "S1"), Channel("throat", "throat", "V", "S2", shared=True))
    time_column, rate = ("time_s", None) if number % 3 else (None, 20.0)
    return Recording("w", "walk", path, path.name, "sub-01", "ses-1", None, rate, time_column, None, channels)


@pytest.mark.parametrize("form", TARGETS)
@pytest.mark.filterwarnings("ignore")
def test_a_damaged_file_gives_samples_or_a_reason(tmp_path, bounded, form):
    make, structured = TARGETS[form]
    path = tmp_path / f"a.{form}"
    if form == "_motion.tsv":
        for name, text in SIDECARS.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
    outcome = {"read": 0, "refused": 0}
    slowest = (0.0, 0)
    for number, _, content in mutants(make(), number_of_mutations(300), SEED, structured):
        path.write_bytes(content)
        begin = time.perf_counter()
        signal.alarm(LONGEST_S)
        for opens in (peek, read_raw):
            try:
                found = opens(path)
            except ReadError as error:
                assert not error.reason.startswith(CAUGHT), (form, number, error.reason)
                assert error.reason.isprintable(), (form, number)
                outcome["refused"] += opens is read_raw
            else:
                outcome["read"] += opens is read_raw
                assert all(isinstance(name, str) for name in found.names)
        ingested = ingest_recording(recording(path, number), SMALL)
        assert ingested.quality["status"] in ("good", "degraded", "rejected")
        words = ingested.quality["status_description"]
        assert words is None or words.isprintable(), (form, number)
        assert words is None or not any(caught in words for caught in CAUGHT), (form, number, ingested.story)
        signal.alarm(0)
        slowest = max(slowest, (time.perf_counter() - begin, number))
    print(f"{form}: {outcome}, slowest {slowest[0]:.2f} s (mutant {slowest[1]})")
    assert outcome["refused"] > 0
