"""The guides for people, held to the repository as it is."""

import re
from pathlib import Path, PurePosixPath

import pytest
from strainstudy.cautions import KNOWN_COVERAGE
from strainstudy.provenance.code import package_imports

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "workflow" / "strainstudy"
GUIDES = ("DEVELOPERS.md", "README.md")
FILES = [
    path.relative_to(ROOT)
    for path in (
        *ROOT.glob("*"),
        *(p for top in ("workflow", "tests", "config", "docs") for p in (ROOT / top).rglob("*")),
    )
    if "__pycache__" not in path.parts
]
MADE_BY_A_RUN = {"figures/", "labels/", "model/", "provenance/", "validation/"}
"""Folders of a study or of its results that a guide names, not of the repository."""
APART = {("study", "intake")}
"""What the map says of `study` and `intake`: one room to each other."""


def code_spans(guide: str) -> list[str]:
    """What stands between back quotes, outside fenced blocks, a line break in it as a space."""
    text = re.sub(r"^```.*?^```", "", (ROOT / guide).read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
    return [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", text)]


def paths_in(span: str) -> list[str]:
    """Sources, and whatever lies in a folder of the repository; a name with a <placeholder> is of no one file."""
    words = [word for word in span.split() if "<" not in word]
    return [w for w in words if re.search(r"\.(py|smk)$", w) or re.match(r"(workflow|tests|config|docs)/", w)]


def is_there(path: str) -> bool:
    return any(PurePosixPath(known).match(path.rstrip("/")) for known in FILES)


def is_module(place: Path) -> bool:
    return place.with_suffix(".py").is_file() or (place / "__init__.py").is_file()


@pytest.mark.parametrize("guide", GUIDES)
def test_every_path_that_a_guide_names_is_there(guide):
    text = (ROOT / guide).read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in link]
    named = [path for span in code_spans(guide) for path in paths_in(span)]
    assert named
    assert [path for path in named if not is_there(path)] + [link for link in links if not (ROOT / link).exists()] == []


@pytest.mark.parametrize("guide", GUIDES)
def test_every_module_that_a_guide_names_is_there(guide):
    named = [
        m for span in code_spans(guide) for m in re.findall(r"\bstrainstudy\.([a-z_]+(?:\.[a-z_]+)*)(?![.\w<])", span)
    ]
    assert named
    assert [m for m in named if not is_module(PACKAGE / m.replace(".", "/"))] == []


def test_every_name_of_the_code_that_the_contributor_guide_gives_is_in_the_code():
    sources = "\n".join(
        (ROOT / path).read_text(encoding="utf-8")
        for path in FILES
        if path.suffix in (".py", ".smk", ".tsv", ".toml") and path.name != Path(__file__).name
    ) + (ROOT / "Makefile").read_text(encoding="utf-8")  # fmt: skip
    known = set(re.findall(r"\w+", sources))
    named = [span for span in code_spans("DEVELOPERS.md") if re.fullmatch(r"[A-Za-z_][\w.]*", span)]
    assert len(named) > 50
    assert [
        span for span in named if not set(span.split(".")) <= known and not paths_in(span) and not is_there(span)
    ] == []
    rooms = [span for span in code_spans("DEVELOPERS.md") if re.fullmatch(r"[a-z]+/", span)]
    unknown = [
        room for room in rooms if room not in MADE_BY_A_RUN and not any((p / room).is_dir() for p in (PACKAGE, ROOT))
    ]
    assert unknown == []


def rows_of_the_map() -> list[tuple[str, list[str]]]:
    """Each room of the map with the modules beside it; several modules of the package itself share a row."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    lines = re.search(r"^```\n(errors .*?)^```", guide, flags=re.DOTALL | re.MULTILINE)[1].splitlines()
    rows = []
    for line in lines:
        room = re.match(r"([a-z]+)/ +(.*)", line)
        if room:
            rows.append((room[1], [] if room[1] == "stages" else re.split(r"  +| \.\.\.", room[2])[0].split()))
        elif not line.startswith(" "):
            rows += [(module, []) for module in line.split()]
    return rows


def test_the_map_has_every_room_and_its_modules_are_there():
    rows = rows_of_the_map()
    found = {p.stem for p in PACKAGE.glob("*.py")} | {p.parent.name for p in PACKAGE.glob("*/__init__.py")}
    assert {name for name, _ in rows} == found - {"__init__"}
    gone = [f"{room}/{m}" for room, modules in rows for m in modules if not is_module(PACKAGE / room / m)]
    assert gone == []


def test_a_room_imports_only_from_lines_above_it():
    place = {name: line for line, (name, _) in enumerate(rows_of_the_map())}
    assert len(place) > 20
    upwards = set()
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        own = [part for part in parts if part != "__init__"]
        if not own:
            continue
        used = {name.split(".")[1] for name in package_imports(".".join(["strainstudy", *own])) if "." in name}
        upwards |= {(own[0], room) for room in used if place[room] > place[own[0]]}
    assert upwards == APART


def test_what_is_said_of_the_angles_interval_is_what_the_audit_found():
    """docs/coverage.md, section Angles: held, %, by state and range."""
    text = (ROOT / "docs/coverage.md").read_text(encoding="utf-8")
    first, second = text.split("eight knee sensors:")[1].split("64 knee sensors:")
    said = []
    for table in (second, first):
        rows = re.findall(r"^\| \w+_gait \| (all|15 to 30) \| \d+ \| \d+ \| (\d+) \|$", table, re.MULTILINE)
        for name in ("all", "15 to 30"):
            low, high = sorted(int(held) for part, held in rows if part == name)
            said.append(f"in {low} to {high} %")
    assert re.findall(r"in \d+ to \d+ %", KNOWN_COVERAGE) == said
    assert " ".join(KNOWN_COVERAGE.split()) in " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
