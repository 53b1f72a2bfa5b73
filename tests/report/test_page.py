"""The page: whole, offline, the same bytes twice, and there even when a study has next to nothing."""

import base64
import hashlib
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import pytest
from strainstudy.report.content import Table
from strainstudy.report.guides import guide_of
from strainstudy.report.names import FIGURES, recording_file
from strainstudy.report.page import build_report
from strainstudy.report.words import CAUTIONS
from strainstudy.review.names import link_to, page_file
from strainstudy.sections import SECTIONS
from strainstudy.tables.gait import GAIT
from strainstudy.tables.standing import CHANGE, NORMS
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.tables.validation import EVENTS as AGREEMENT
from strainstudy.validate.measurements import GAIT_MEASURES, SWALLOW_MEASURES

INVENTED = {"recording_id", "participant_id", "session_id", "sensor_id", "error_basis", "sensor_note"}
"""Words of the invented tables, which are filled with the names of their columns."""
SETTINGS = {name: kind() for name, kind in SECTIONS.items()}


class Reader(HTMLParser):
    """Collect headings, ids, links, sources and alternatives, and check that tags close."""

    VOID = frozenset({"meta", "img", "br", "link", "input", "path", "rect"})

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.headings: list[int] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.sources: list[str] = []
        self.missing_alternatives = 0
        self.open: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag, attributes):
        """Note headings, ids, links and sources."""
        given = dict(attributes)
        if re.fullmatch(r"h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if "id" in given:
            self.ids.append(given["id"])
        self.links += [given[name] for name in ("href", "xlink:href") if name in given]
        if "src" in given:
            self.sources.append(given["src"])
        self.missing_alternatives += tag == "img" and not given.get("alt")
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        """Check that the tag that closes is the one that is open."""
        if tag not in self.VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        """Keep the words."""
        self.words.append(data)


def build(drawn, results: Path, out: Path, labels) -> tuple[str, Reader]:
    pictures, drawings = drawn(results, labels, out)
    build_report(
        results,
        pictures=pictures,
        drawings=drawings,
        settings=SETTINGS,
        study="harbour <study>",
        page=out / "report.html",
    )
    text = (out / "report.html").read_text(encoding="utf-8")
    reader = Reader()
    reader.feed(text)
    assert reader.open == []
    return text, reader


@pytest.fixture(scope="module")
def made(drawn, results, labels, tmp_path_factory):
    out = tmp_path_factory.mktemp("report")
    return (*build(drawn, results, out, labels), out)


def test_the_page_needs_no_network(made):
    text, reader, _ = made
    assert all(link.startswith(("#", "review/", "people/", "figures/", "codebook.html")) for link in reader.links)
    assert all(source.startswith("data:image/png;base64,") for source in reader.sources)
    without_names = text.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(
        r"(?:url\(|@import|<script\s|<link|<iframe|fetch\(|https?://[^\s<\"]+\.(?:js|css|png|woff))", without_names
    )


def test_every_link_leads_somewhere_and_no_anchor_is_there_twice(made):
    _, reader, _ = made
    assert len(reader.ids) == len(set(reader.ids))
    within = {link.removeprefix("#") for link in reader.links if link.startswith("#")}
    assert within <= set(reader.ids)


def test_worst_mistakes_and_what_to_label_next_open_the_page_of_their_recording_at_their_time(made):
    _, reader, _ = made
    timed = [link for link in reader.links if link.startswith("review/") and "#t=" in link]
    assert timed == [link_to("recording_id", 0.5, 0.5)] * len(timed)
    assert len(timed) > 0


def test_every_recording_of_a_person_leads_to_its_drawing_and_its_page(made):
    _, reader, out = made
    for recording in ("sub-01_walk", "sub-02_swallow"):
        assert page_file(recording) in reader.links
        assert f"figures/{recording_file(recording)}" in reader.links
        assert (out / "figures" / recording_file(recording)).is_file()


def test_only_the_script_of_the_page_may_run(made):
    """W3C Content Security Policy Level 3, 8.3: a hash source is the digest of the script's text."""
    text, _, _ = made
    (script,) = re.findall(r"<script>(.*?)</script>", text, flags=re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in text.replace("&#43;", "+").replace("&#39;", "'")


def test_a_long_table_is_whole_in_the_page_and_folds_on_the_screen_only():
    rows = tuple((f"sub-{k:03d}", str(k)) for k in range(300))
    assert Table("People", ("person", "n"), rows, ("short", "number")).many
    assert not Table("People", ("person", "n"), rows[:12], ("short", "number")).many


@pytest.mark.parametrize("name", [*FIGURES, "sensor_K-1", "sensor-health", "recording_sub-01_walk"])
def test_every_kind_of_figure_says_how_to_read_it(name):
    guide = guide_of(name)
    assert all(len(words) > 40 for words in (guide.shown, guide.judged, guide.mended))
    assert "Good" in guide.judged
    assert "Bad" in guide.judged


def test_a_figure_without_a_guide_is_refused():
    with pytest.raises(KeyError, match="has no guide"):
        guide_of("surprise")


def test_no_name_of_a_column_reaches_the_reader(made):
    """Names of columns have underscores; words that are read have none, but in settings, ids and files."""
    _, reader, _ = made
    known = {column.name for spec in (GAIT, SWALLOW_SUMMARY, NORMS, CHANGE, AGREEMENT) for column in spec.columns}
    measures = {*GAIT_MEASURES, *SWALLOW_MEASURES, "normal_gait", "limping_gait", "initial_contact", "out_of_fold"}
    cells = {word.strip() for word in reader.words}
    assert not {name for name in cells & (known | measures) if "_" in name} - INVENTED


def test_headings_go_down_one_level_at_a_time_and_pictures_have_words(made):
    """WCAG 2.2, 1.3.1 and 1.1.1: structure and text alternatives."""
    _, reader, _ = made
    assert reader.headings[0] == 1
    assert reader.headings.count(1) == 1
    assert all(b - a <= 1 for a, b in zip(reader.headings, reader.headings[1:], strict=False))
    assert reader.missing_alternatives == 0


def test_every_caution_is_on_every_page(drawn, made, tmp_path):
    bare = tmp_path / "bare"
    bare.mkdir()
    for text in ("".join(made[1].words), "".join(build(drawn, bare, tmp_path / "out", {})[1].words)):
        for caution in CAUTIONS:
            assert caution.words in text
        assert "No diagnosis" in text


def test_words_from_the_study_are_escaped(made):
    text, reader, _ = made
    assert "harbour <study>" not in text
    assert "two & a half seconds are <missing>" in "".join(reader.words)
    assert "S<1>" not in text


def test_what_fell_short_is_said(made):
    words = "".join(made[1].words)
    assert "1 of 3 recordings was used although degraded" in words
    assert "Pooled F1 of initial contact is 0.850 at ±0.50 s, the widest tolerance scored" in words
    assert "sensor or gait cannot be told apart" in words
    assert "No bend recordings" in words


def test_settings_are_printed_with_their_sources(made):
    words = "".join(made[1].words)
    for parameters in (SETTINGS["verdict"], SETTINGS["bench"]):
        for field in type(parameters).__dataclass_fields__.values():
            assert field.metadata["words"] in words
            assert field.metadata["source"] in words


def test_every_figure_is_a_file_of_its_own(made):
    out = made[2]
    names = {str(p.relative_to(out / "figures")) for p in (out / "figures").rglob("*") if p.is_file()}
    for figure in (
        "gait",
        "swallows",
        "classifier",
        "norms",
        "change",
        "raters",
        "agreement_events",
        "agreement_swallows",
    ):
        assert {f"{figure}.png", f"{figure}.svg", f"{figure}.pdf"} <= names
    assert {"recordings/sub-01_walk.svg", "recordings/sub-02_swallow.svg"} <= names
    shown = {i.removeprefix("figure-") for i in made[1].ids if i.startswith("figure-")}
    assert {n.removeprefix("recording_") for n in shown} <= {Path(n).stem for n in names}


def test_powers_of_ten_at_an_axis_are_no_mathematics_to_be_parsed(made):
    texts = [path.read_text(encoding="utf-8") for path in sorted((made[2] / "figures").glob("*.svg"))]
    assert not [text for text in texts if "$" in text]
    assert [text for text in texts if "<!-- 10⁻¹ -->" in text and "<!-- 10⁰ -->" in text]


def test_the_same_results_give_the_same_bytes(drawn, results, labels, tmp_path):
    few = tmp_path / "results"
    shutil.copytree(
        results, few, ignore=shutil.ignore_patterns("validation", "change.*", "swallow*", "sensor_health.*")
    )
    build(drawn, few, tmp_path / "a", labels)
    build(drawn, few, tmp_path / "b", labels)
    names = sorted(p.relative_to(tmp_path / "a") for p in (tmp_path / "a").rglob("*") if p.is_file())
    assert {p.suffix for p in names} == {".html", ".json", ".png", ".svg", ".pdf"}
    assert all((tmp_path / "a" / n).read_bytes() == (tmp_path / "b" / n).read_bytes() for n in names)


def test_a_study_with_nothing_but_a_rejected_recording_still_has_a_page(drawn, results, tmp_path):
    root = tmp_path / "results"
    (root / "tables").mkdir(parents=True)
    for suffix in (".tsv", ".json"):
        shutil.copy(results / f"tables/recordings{suffix}", root / f"tables/recordings{suffix}")
    _, reader = build(drawn, root, tmp_path / "out", {})
    words = "".join(reader.words)
    assert "No labels" in words
    assert "The bench recordings gave no figures" in words


def test_empty_tables_leave_their_sections_out(drawn, results, labels, tmp_path):
    root = tmp_path / "results"
    shutil.copytree(results, root)
    for path in root.rglob("*.tsv"):
        if path.name != "recordings.tsv":
            path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    _, reader = build(drawn, root, tmp_path / "out", labels)
    assert "gait" not in reader.ids
    assert "bench" not in reader.ids
    assert {"summary", "flow", "people", "recordings", "cautions"} <= set(reader.ids)
