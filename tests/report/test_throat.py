"""Swallows in the report: proof by sensor, confounder and class, and water tests apart from other recordings."""

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from strainstudy.report import people_figures, throat_figures
from strainstudy.report.content import Note, Picture, Section, Table, Text
from strainstudy.report.people_figures import swallow_figure
from strainstudy.report.proof_sections import agreement
from strainstudy.report.results import StudyTables
from strainstudy.report.style import BLACK, WHITE, ink_on
from strainstudy.report.throat_figures import swallow_proof_figure
from strainstudy.report.words import CAUTIONS, READING
from strainstudy.tables import read_table, write_table
from strainstudy.tables.recordings import ADDED, RECORDINGS
from strainstudy.tables.swallows import SWALLOW_SUMMARY
from strainstudy.tables.throat import THROAT_EVIDENCE


def section_in(folder) -> Section | None:
    """Draw the figure, and make the section that shows it."""
    picture = swallow_proof_figure(StudyTables(folder), folder)
    return agreement(StudyTables(folder), {} if picture is None else {picture.name: picture})


def plain(spec, rows: list[dict]) -> pd.DataFrame:
    return pd.DataFrame(rows).reindex(columns=[c.name for c in spec.columns])


@pytest.fixture
def drawn(monkeypatch) -> list[Figure]:
    """Collect the figures as they are written."""
    figures: list[Figure] = []
    for module in (throat_figures, people_figures):

        def keep(figure, name, folder, _write=module.written):
            figures.append(figure)
            return _write(figure, name, folder)

        monkeypatch.setattr(module, "written", keep)
    return figures


def panels_of(figure: Figure) -> dict[str, object]:
    return {axis.get_title(loc="left"): axis for axis in figure.axes if axis.get_title(loc="left")}


def ticks(axis) -> list[str]:
    """Names of the rows from top to bottom."""
    places = sorted(zip(axis.get_yticks(), axis.get_yticklabels(), strict=True), key=lambda pair: -pair[0])
    names = [label.get_text() for _, label in places]
    return names[::-1] if axis.yaxis_inverted() else names


def test_each_row_of_the_figure_says_what_it_is_and_its_n(tmp_path, throat_evidence, drawn):
    throat_evidence(tmp_path)
    picture = swallow_proof_figure(StudyTables(tmp_path), tmp_path)
    assert isinstance(picture, Picture)
    assert {f"agreement_swallows.{form}" for form in ("png", "svg", "pdf")} <= {p.name for p in tmp_path.iterdir()}
    axes = panels_of(drawn[0])
    assert ticks(axes["By response shape"]) == [
        "one-humped\n40 labelled, 3 people",
        "two-phase\n60 labelled, 5 people",
        "ringing\n50 labelled, 4 people",
    ]
    assert ticks(axes["Taken for a swallow"]) == [
        "speech\n4 false in 2.50 min, 5 people",
        "cough\n2 false in 2.50 min, 3 people",
        "head movement\n3 false in 2.50 min, 4 people",
        "artefact\n1 false in 2.50 min, 2 people",
        "speech, coughs and head\nmovements together\n0 false in 2.50 min, 1 person",
    ]
    assert ticks(axes["Movements by class"])[0] == "swallow\n34, 2 people"
    assert "centres within 0.50 s" in picture.caption
    assert "do not show aspiration" in picture.caption


def test_bars_reach_as_far_as_the_intervals_and_counts_stand_in_their_cells(tmp_path, throat_evidence, drawn):
    throat_evidence(tmp_path)
    swallow_proof_figure(StudyTables(tmp_path), tmp_path)
    axes = panels_of(drawn[0])
    bars = axes["Taken for a swallow"].collections[0].get_segments()
    assert [tuple(bar[:, 0]) for bar in bars] == [(0.0, 6.0), (0.0, 4.0), (0.0, 5.0), (0.0, 3.0), (0.0, 2.0)]
    matrix = axes["Movements by class"]
    counts = {text.get_position(): text.get_text() for text in matrix.texts}
    assert counts == {(j, i): "30" if i == j else "1" for i in range(5) for j in range(5)}
    shares = np.asarray(matrix.images[0].get_array())
    assert np.diag(shares).tolist() == pytest.approx([30 / 34] * 5, abs=1e-4)


@pytest.mark.parametrize(
    ("without", "left"),
    [
        ({"shapes": ()}, {"Taken for a swallow", "Movements by class"}),
        ({"confounders": ()}, {"By response shape", "Movements by class"}),
        ({"classes": ()}, {"By response shape", "Taken for a swallow"}),
        ({"shapes": (), "classes": ()}, {"Taken for a swallow"}),
        ({"shapes": (), "confounders": ()}, {"Movements by class"}),
    ],
)
def test_a_panel_without_rows_is_left_out_with_its_words_and_its_table(tmp_path, throat_evidence, drawn, without, left):
    throat_evidence(tmp_path, **without)
    picture = swallow_proof_figure(StudyTables(tmp_path), tmp_path)
    assert set(panels_of(drawn[0])) == left
    assert {title for title in ("By response shape", "Taken for a swallow", "Movements by class")
            if f"{title}: " in picture.caption} == left  # fmt: skip
    section = section_in(tmp_path)
    captions = " ".join(block.caption for block in section.parts[0].blocks if isinstance(block, Table))
    for title, words in (
        ("By response shape", "response shape"),
        ("Taken for a swallow", "taken for a swallow"),
        ("Movements by class", "Classes of throat movements"),
    ):
        assert (words in captions) == (title in left)


def test_a_class_that_others_were_learnt_as_is_named_with_them(tmp_path, throat_evidence):
    throat_evidence(tmp_path)
    table = read_table(tmp_path, THROAT_EVIDENCE["throat_classifier"]).assign(
        includes=lambda t: t["trial_type"].map({"other": "cough (1 participant)"})
    )
    write_table(table, THROAT_EVIDENCE["throat_classifier"], tmp_path)
    words = " ".join(b.words for b in section_in(tmp_path).parts[0].blocks if isinstance(b, Text))
    assert "Other includes cough (1 participant)" in words


def test_without_any_of_the_tables_there_is_neither_figure_nor_section(tmp_path, throat_evidence):
    assert swallow_proof_figure(StudyTables(tmp_path), tmp_path) is None
    throat_evidence(tmp_path, shapes=(), confounders=(), classes=())
    assert swallow_proof_figure(StudyTables(tmp_path), tmp_path) is None
    assert section_in(tmp_path) is None
    assert not list(tmp_path.glob("*.png"))


def test_shapes_that_are_unknown_or_new_come_last_under_their_own_words(tmp_path, throat_evidence, drawn):
    throat_evidence(tmp_path, shapes=("a_new_one", "ringing", "unknown"))
    swallow_proof_figure(StudyTables(tmp_path), tmp_path)
    names = [name.split("\n")[0] for name in ticks(panels_of(drawn[0])["By response shape"])]
    assert names == ["ringing", "nothing found", "a new one"]


def test_one_class_by_itself_is_still_drawn(tmp_path, throat_evidence, drawn):
    throat_evidence(tmp_path, classes=("swallow",))
    swallow_proof_figure(StudyTables(tmp_path), tmp_path)
    assert ticks(panels_of(drawn[0])["Movements by class"]) == ["swallow\n30, 2 people"]


@pytest.fixture
def swallow_part(tmp_path, throat_evidence) -> Section:
    throat_evidence(tmp_path)
    (part,) = section_in(tmp_path).parts
    return part


def test_tables_on_swallows_stand_under_the_caution_and_beside_words_on_how_to_read_them(swallow_part):
    blocks = list(swallow_part.blocks)
    assert blocks[0] == Note(CAUTIONS[1].words, "caution")
    tables = [k for k, block in enumerate(blocks) if isinstance(block, Table)]
    assert len(tables) == 3
    for k, name in zip(tables, ("agreement_swallows", "agreement_taken", "agreement_throat"), strict=True):
        assert blocks[k - 1].words == READING[name]


def test_response_shapes_are_listed_by_centre_alone(swallow_part):
    table = next(b for b in swallow_part.blocks if isinstance(b, Table) and "response shape" in b.caption)
    assert [row[0] for row in table.rows] == ["one-humped", "two-phase", "ringing"]
    assert table.rows[0][3:] == ("0.900 (0.800 to 1.00)", "Reading of one_hump.")
    assert "centres within 0.50 s" in table.caption


def test_the_classifier_stands_beside_those_that_know_less(swallow_part):
    table = next(b for b in swallow_part.blocks if isinstance(b, Table) and "Classes" in b.caption)
    assert [row[:2] for row in table.rows] == [
        ("swallow", "the classifier"),
        ("swallow", "rule that needs no labels"),
        ("swallow", "always the commonest"),
        ("speech", "the classifier"),
        ("cough", "the classifier"),
        ("head movement", "the classifier"),
        ("other", "the classifier"),
        ("all classes", "the classifier"),
        ("all classes", "rule that needs no labels"),
        ("all classes", "always the commonest"),
    ]
    recall = table.header.index("recall")
    assert {row[recall].split()[0] for row in table.rows if row[0] == "all classes"} == {"0.700"}
    assert {row[recall].split()[0] for row in table.rows if row[0] != "all classes"} == {"0.600"}


@pytest.mark.parametrize("stored", [True, False])
def test_the_card_of_the_swallow_model_is_named_where_there_is_one(tmp_path, throat_evidence, stored):
    throat_evidence(tmp_path)
    if stored:
        (tmp_path / "model").mkdir()
        (tmp_path / "model/swallow_card.md").write_text("# Card", encoding="utf-8")
    (part,) = section_in(tmp_path).parts
    assert ("model/swallow_card.md" in " ".join(getattr(b, "words", "") for b in part.blocks)) == stored


def write_swallowing(root, rows: list[tuple[str, str | None, str, float | None]]) -> StudyTables:
    recordings = [
        {"recording_id": name, "participant_id": name[:6], "session_id": session, "task": task}
        for name, session, task, _ in rows
    ]
    summary = [
        {"recording_id": name, "swallow_count": 4, "rate": 8.0, "rate_low": 2.0, "rate_high": 20.0,
         "duration_mean": 1.0, "interval_mean": 5.0, "volume": volume,
         "volume_per_swallow": None if volume is None else volume / 4}
        for name, _, _, volume in rows
    ]  # fmt: skip
    added = [column.name for column in ADDED]
    write_table(plain(RECORDINGS, recordings).reindex(columns=[*RECORDINGS.names, *added]), RECORDINGS, root, ADDED)
    write_table(plain(SWALLOW_SUMMARY, summary), SWALLOW_SUMMARY, root)
    return StudyTables(root)


def test_water_tests_differ_in_marker_colour_and_name_from_other_swallowing(tmp_path, drawn):
    tables = write_swallowing(
        tmp_path,
        [
            ("sub-01_a", "ses-01", "swallow", None),
            ("sub-02_a", "ses-01", "swallow", None),
            ("sub-01_b", "ses-01", "swallow", 50.0),
            ("sub-01_c", "ses-02", "swallow", 100.0),
            ("sub-01_d", "ses-01", "free", None),
            ("sub-01_e", "ses-01", "free", 100.0),
        ],
    )
    swallow_figure(tables, tmp_path)
    assert ticks(drawn[0].axes[0]) == [
        "task free, ses-01 (n = 1)",
        "task free, set volume, ses-01 (n = 1)",
        "task swallow, no set volume, ses-01 (n = 2)",
        "timed water test, ses-01 (n = 1)",
        "timed water test, ses-02 (n = 1)",
    ]
    looks = []
    for line in (line for line in drawn[0].axes[0].lines if len(line.get_xdata()) and line.get_marker() != "None"):
        looks.append((line.get_marker(), line.get_color(), line.get_markerfacecolor()))
    assert len(set(looks)) == len(looks) == 5


def test_a_study_without_any_volume_or_with_nothing_else_is_drawn_with_one_kind(tmp_path, drawn):
    for volume, name in ((None, "task swallow, no set volume"), (100.0, "timed water test")):
        swallow_figure(write_swallowing(tmp_path, [("sub-01_a", "ses-01", "swallow", volume)]), tmp_path)
        assert ticks(drawn[-1].axes[0]) == [f"{name}, ses-01 (n = 1)"]


def test_swallows_without_a_session_are_drawn_too(tmp_path, drawn):
    rows = [("sub-01_a", None, "swallow", None), ("sub-02_a", None, "swallow", 50.0)]
    swallow_figure(write_swallowing(tmp_path, rows), tmp_path)
    assert ticks(drawn[0].axes[0]) == [
        "task swallow, no set volume, no session given (n = 1)",
        "timed water test, no session given (n = 1)",
    ]


@pytest.mark.parametrize("share", np.linspace(0.0, 1.0, 21))
def test_text_can_be_read_on_every_shade(share):
    """WCAG 2.2, 1.4.3: a contrast ratio of 4.5 or more; luminance and ratio as defined there."""

    def luminance(colour) -> float:
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in mpl.colors.to_rgb(colour)]
        return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))

    ground = mpl.colormaps["Blues"](float(share))
    dark, light = sorted((luminance(ground[:3]), luminance(ink_on(ground))))
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_ink_is_black_on_white_and_white_on_black():
    assert ink_on((1.0, 1.0, 1.0, 1.0)) == BLACK
    assert ink_on((0.0, 0.0, 0.0)) == WHITE
