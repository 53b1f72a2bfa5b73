"""Sheets, labels and settings with anything in them: the check returns or says what is wrong, and never falls over.

``FUZZ_MUTATIONS`` mutations (seeded; 60 by default, for the suite) of the small study's files, in bytes and in cells.
"""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutations import number_of_mutations
from small_study import FILES, write_study
from strainstudy.config import config_text
from strainstudy.errors import StudyError
from strainstudy.ingest.parameters import IngestParameters
from strainstudy.intake.settings_files import config_file_problems
from strainstudy.intake.start import check_all, look
from strainstudy.study import load_study

NORMS = str(Path(__file__).parents[2] / "config/norms.tsv")
MUTATIONS = number_of_mutations(60)
SHEETS = [name for name in FILES if name.endswith(".tsv")]
CELLS = [
    "", "n/a", "0", "-1", "1e9", "1e308", "-1e-320", "inf", "nan", "NaN", "1,5", "1_000", "0x10", "٣", "½",
    "1e400", "*", "?", "{x}", "../x", "/etc/passwd", "C:\\x", "a" * 300, "\0", "\x1b", "\u202e", "\ufeff",
    "\ud7ff", "𝟘", "é", '"', '"18', '""', "'", "=1+1", "-", "@x", "raw", ".", "raw/", "raw/walk-01.csv",
    "raw/walk-01.csv/", "labels", "sub-01", "left", "right", "left_knee", "throat", "deg", "V", "walk", "tap",
    "S1", "walk-01", "*\t*", "limping_gait", "rest", "swallow", "turn", "labelled", "knee_bend",
    "initial_contact", "bad", "100", "1e-9", "3300", "True", "\u2028", "\x85",
]  # fmt: skip
BYTES = [
    b"",
    b"\0",
    b"\t",
    b"\n",
    b"\r",
    b"\r\n",
    b'"',
    b"\xff",
    b"\xfe\xff",
    b"\xef\xbb\xbf",
    b",",
    b";",
    b"n/a",
    b" ",
]
VALUES = ["null", "[]", "{}", "-1", "1e400", ".nan", "'x'", "[1, 2]", "true", "&a [*a]", "!!python/name:os.system", "0"]


def _bytes(random_: random.Random, content: bytes) -> bytes:
    place = random_.randrange(len(content) + 1)
    match random_.randrange(4):
        case 0:
            return content[:place] + random_.choice(BYTES) + content[place + random_.randrange(4) :]
        case 1:
            return content[:place]
        case 2:
            return content[:place] + bytes([random_.randrange(256)]) + content[place + 1 :]
        case _:
            length = random_.randrange(1, 40)
            return content[:place] + content[place : place + length] * 2 + content[place + length :]


def _cell(random_: random.Random, content: bytes) -> bytes:
    rows = [line.split("\t") for line in content.decode(errors="replace").split("\n")]
    row = random_.choice(rows)
    row[random_.randrange(len(row))] = random_.choice(CELLS)
    return "\n".join("\t".join(cells) for cells in rows).encode()


def _row(random_: random.Random, content: bytes) -> bytes:
    lines = content.split(b"\n")
    place = random_.randrange(len(lines))
    match random_.randrange(3):
        case 0:
            del lines[place]
        case 1:
            lines.insert(place, random_.choice(lines))
        case _:
            random_.shuffle(lines)
    return b"\n".join(lines)


def _setting(random_: random.Random, content: bytes) -> bytes:
    lines = content.decode().split("\n")
    place = random_.choice([i for i, line in enumerate(lines) if ":" in line and not line.lstrip().startswith("#")])
    lines[place] = f"{lines[place].partition(':')[0]}: {random_.choice(VALUES)}"
    return "\n".join(lines).encode()


Mutation = Callable[[random.Random, bytes], bytes]


def _checked(folder: Path, config: Mapping[str, object], strict: bool) -> None:
    """Do what the start of a run does."""
    try:
        general, sections, study = check_all(config, "mine.yaml")
        ingest = sections["ingest"]
        assert isinstance(ingest, IngestParameters)
        look(study, general, ingest, thorough=strict)
    except StudyError as error:
        assert error.problems
        assert str(error)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = write_study(tmp_path_factory.mktemp("fuzz") / "study")
    signal = "".join(f"{i / 100},{i % 7},{i % 5}\n" for i in range(300))
    for name in ("walk-01", "bend-01", "stretch-S1"):
        path = root / f"raw/{name}.csv"
        path.write_text(path.read_text(encoding="utf-8") + signal, encoding="utf-8")
    return root


def _config(root: Path) -> dict[str, object]:
    own = {"study": str(root), "results": str(root.parent / "results"), "norms": NORMS}
    return yaml.safe_load(config_text()) | own


def test_mutated_sheets_and_labels_are_checked_without_any_other_exception(plain: Path):
    random_ = random.Random(10)
    kinds: tuple[Mutation, ...] = (_bytes, _cell, _cell, _cell, _row)
    whole = {name: (plain / name).read_bytes() for name in SHEETS}
    config = _config(plain)
    for _ in range(MUTATIONS):
        broken = random_.choices(SHEETS, k=random_.randrange(1, 4))
        for name in broken:
            content = (plain / name).read_bytes()
            (plain / name).write_bytes(random_.choice(kinds)(random_, content))
        try:
            _checked(plain, config, strict=True)
        except Exception as error:
            told = {name: (plain / name).read_bytes() for name in broken}
            raise AssertionError(f"{type(error).__name__} for {told}") from error
        finally:
            for name in broken:
                (plain / name).write_bytes(whole[name])


def test_mutated_settings_are_checked_without_any_other_exception(plain: Path):
    random_ = random.Random(11)
    path = plain.parent / "mine.yaml"
    own = "".join(f"{name}: {value}\n" for name, value in _config(plain).items() if isinstance(value, str))
    text = (own + config_text().partition("norms:")[2].partition("\n")[2]).encode()
    for _ in range(max(MUTATIONS // 4, 1)):
        content = text
        for _ in range(random_.randrange(1, 4)):
            kinds: tuple[Mutation, ...] = (_bytes, _setting, _setting)
            try:
                content = random_.choice(kinds)(random_, content)
            except (UnicodeDecodeError, IndexError):
                break
        path.write_bytes(content)
        if config_file_problems(path, "mine.yaml"):
            continue
        try:
            given_config = yaml.safe_load(content.decode("utf-8-sig"))
        except (yaml.YAMLError, ValueError):
            continue  # the engine reads the file before the check and stops there
        _checked(plain, given_config or {}, strict=False)
    shutil.rmtree(plain.parent / "results", ignore_errors=True)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    file=st.sampled_from(SHEETS),
    cell=st.text(max_size=30),
    row=st.integers(1, 5),
    column=st.integers(0, 8),
)
def test_any_text_in_any_cell_survives_or_is_refused_with_a_problem(tmp_path, file, cell, row, column):
    root = tmp_path / "study"
    if not root.exists():
        write_study(root)
    rows = [line.split("\t") for line in FILES[file].split("\n")]
    row, column = row % (len(rows) - 1), column % len(rows[0])
    if row == 0:
        return
    rows[row][column] = cell
    path = root / file
    path.write_bytes("\n".join("\t".join(cells) for cells in rows).encode("utf-8", errors="surrogatepass"))
    try:
        study = load_study(root)
    except StudyError as error:
        assert error.problems
    else:
        if file == "participants.tsv" and rows[0][column] == "group":
            kept = study.participants[rows[row][0]].group
            assert (kept or "") in cell.replace('""', '"')
    finally:
        path.write_text(FILES[file], encoding="utf-8")
