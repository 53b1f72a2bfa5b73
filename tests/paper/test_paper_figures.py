"""Figures of a paper as files: width, fonts, bytes; and as drawings: size of text, nothing cut, nothing on another."""

import itertools
import re
import shutil

import numpy as np
import pytest
from matplotlib.text import Text
from strainstudy.paper.figures import FIGURES
from strainstudy.paper.frames import (
    AFFECTED,
    OTHER,
    agreement_frames,
    curve_frame,
    group_frame,
    main_outcomes,
    paired_sides,
    side_summary,
)
from strainstudy.paper.names import FIGURE_NAMES, WIDTHS_MM, figure_file
from strainstudy.paper.style import POINTS, drawing, sheet, wrapped
from strainstudy.report.results import StudyTables
from strainstudy.tables import read_described, write_table
from strainstudy.tables.gait import GAIT

MM_PER_POINT = 25.4 / 72.0
"""A point is 1/72 inch (PDF, ISO 32000-1, 8.3.2.3: default user space)."""
DRAWN = [(name, width) for name in FIGURE_NAMES for width in WIDTHS_MM]


@pytest.fixture(scope="module")
def sheets(results, angles):
    """Every figure at every width, laid out."""
    tables, found = StudyTables(results), {}
    with drawing():
        for name, figure in FIGURES.items():
            panels = figure.panels(tables, angles)
            for width, layout in figure.layouts.items():
                drawn = sheet(panels, width, layout.columns, layout.height(panels), same_y=figure.same_y)
                drawn.draw_without_rendering()
                found[name, width] = drawn
    return found


def shown(figure) -> list[Text]:
    hidden = {text for axis in figure.axes if not axis.get_visible() for text in axis.findobj(Text)}
    texts = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip() and t not in hidden]
    outside = set()
    for axis in figure.axes:
        for scale, limits in ((axis.xaxis, axis.get_xlim()), (axis.yaxis, axis.get_ylim())):
            low, high = sorted(limits)
            for ticks in (scale.get_major_ticks(), scale.get_minor_ticks()):
                outside |= {
                    t for tick in ticks if not low <= tick.get_loc() <= high for t in (tick.label1, tick.label2)
                }
    return [text for text in texts if text not in outside]


def test_every_figure_of_the_list_has_panels_and_layouts_at_both_widths():
    assert tuple(FIGURES) == FIGURE_NAMES
    assert {tuple(figure.layouts) for figure in FIGURES.values()} == {WIDTHS_MM}


@pytest.mark.parametrize(("name", "width"), DRAWN)
def test_no_text_is_smaller_than_seven_points_and_none_is_cut_off(sheets, name, width):
    figure = sheets[name, width]
    texts = shown(figure)
    assert len(texts) > 5
    assert min(text.get_fontsize() for text in texts) >= POINTS == 7.0
    # mathematics sets exponents smaller than the text around them
    assert not [text.get_text() for text in texts if "$" in text.get_text()]
    right, top = figure.bbox.width + 1.0, figure.bbox.height + 1.0
    boxes = {text.get_text(): text.get_window_extent() for text in texts}
    cut = [words for words, b in boxes.items() if b.x0 < -1.0 or b.y0 < -1.0 or b.x1 > right or b.y1 > top]
    assert cut == []


@pytest.mark.parametrize(("name", "width"), DRAWN)
def test_no_text_lies_on_another(sheets, name, width):
    texts = [text for text in shown(sheets[name, width]) if text.get_rotation() in (0.0, 90.0)]
    boxes = [(text.get_text(), text.get_window_extent().shrunk(0.9, 0.8)) for text in texts]
    assert [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.overlaps(other)] == []


@pytest.mark.parametrize(("name", "width"), DRAWN)
def test_a_file_has_the_width_of_its_column_embedded_truetype_fonts_and_no_date(results, name, width):
    """Type 42 is TrueType (Adobe Technical Note 5012); a PDF embeds it as FontFile2 (ISO 32000-1, 9.9)."""
    pdf = (results / figure_file(name, width, "pdf")).read_bytes()
    box = re.search(rb"/MediaBox \[ ?([\d. ]+)\]", pdf)
    left, bottom, right, top = map(float, box[1].split())
    assert (right - left) * MM_PER_POINT == pytest.approx(width, abs=0.1)
    assert (top - bottom) * MM_PER_POINT < 240.0
    assert b"/FontFile2" in pdf
    assert b"/Subtype /Type3" not in pdf
    assert not re.search(rb"Date|Producer|Creator", pdf)
    svg = (results / figure_file(name, width, "svg")).read_text(encoding="utf-8")
    points = float(re.search(r'<svg [^>]*width="([\d.]+)pt"', svg)[1])
    assert points * MM_PER_POINT == pytest.approx(width, abs=0.1)
    assert "<dc:date>" not in svg


def test_both_sides_are_told_by_the_affected_one_in_the_first_session_alone(results):
    """Affected 2 + 0.1 k and other 1 + 0.1 k for the people k = 0, 1, 2, so their difference is 1 for all."""
    paired = paired_sides(StudyTables(results))
    own = paired[paired["measure"] == "step_time_mean"]
    assert own["participant_id"].tolist() == ["sub-1", "sub-2", "sub-3"]
    np.testing.assert_allclose(own[AFFECTED], [2.0, 2.1, 2.2])
    np.testing.assert_allclose(own[OTHER], [1.0, 1.1, 1.2])
    row = side_summary(paired).iloc[0]
    assert row["n"] == 3
    assert row["affected_mean"] == pytest.approx(2.1)
    assert row["affected_sd"] == pytest.approx(0.1)
    assert [row[f"difference{end}"] for end in ("", "_low", "_high")] == pytest.approx([1.0, 1.0, 1.0])
    two = side_summary(paired[paired["participant_id"] != "sub-3"]).iloc[0]
    assert two["n"] == 2
    assert np.isnan([two["difference_low"], two["difference_high"]]).all(), "captions promise intervals from 3 on"


def test_groups_are_drawn_by_size_and_by_the_affected_side(results, tmp_path):
    """Affected 2 + 0.1 k and other 1 + 0.1 k for k = 0, 1, 2; the control, k = 3, has 1 + 0.1 k in both."""
    tables = StudyTables(results)
    assert "range_of_motion_mean_affected" in dict(main_outcomes(tables))
    found = {role: group_frame(tables, f"range_of_motion_mean_{role}").set_index("participant_id")["value"]
             for role in ("affected", "other")}  # fmt: skip
    assert found["affected"].to_dict() == pytest.approx({"sub-1": 2.0, "sub-2": 2.1, "sub-3": 2.2, "sub-4": 1.3})
    assert found["other"].to_dict() == pytest.approx({"sub-1": 1.0, "sub-2": 1.1, "sub-3": 1.2, "sub-4": 1.3})
    gait = read_described(results / GAIT.path)
    turned = gait.assign(step_time_log_ratio=np.where(gait["recording_id"].str.startswith("sub-1"), -7.0, 7.0))
    copy = shutil.copytree(results, tmp_path / "copy")
    write_table(turned[list(GAIT.names)], GAIT, copy)
    assert set(group_frame(StudyTables(copy), "step_time_log_ratio_size")["value"]) == {7.0}


def test_mean_curves_count_a_person_once(results):
    """People 0, 1 and 2 limp, with curves that lie one degree apart: mean 1 and SD 1 over the stance."""
    curves = curve_frame(StudyTables(results))
    limping = curves[(curves["trial_type"] == "limping_gait") & (curves["percent"] == 0)]
    assert sorted(limping["line"]) == ["non-paretic", "paretic"]
    assert limping["n"].tolist() == [3, 3]
    np.testing.assert_allclose(limping["mean"], 1.0, atol=1e-6)
    np.testing.assert_allclose(limping["sd"], 1.0, atol=1e-6)
    assert set(curves.loc[curves["trial_type"] == "normal_gait", "line"]) == {"left", "right"}


def test_a_study_without_curves_has_no_figure_of_them(tmp_path, angles):
    assert curve_frame(StudyTables(tmp_path)).empty
    assert FIGURES["knee_curves"].panels(StudyTables(tmp_path), angles) == []


def test_differences_are_pipeline_minus_labels_over_the_mean_of_both(results):
    tables = StudyTables(results)
    row, frame = agreement_frames(tables)[0]
    assert (row["measure"], row["trial_type"]) == ("stride_time_mean", "normal_gait")
    assert len(frame) == 8
    np.testing.assert_allclose(frame["mean"] - frame["difference"] / 2.0, 1.1, atol=1e-6)
    assert set(frame["loa_lower"]) == {-0.05}


def test_time_beside_a_reference_is_summed_in_squares_and_the_overlay_starts_at_the_first_steady_stride(angles):
    """20 s at 100 Hz; the angle is one degree above the reference, so it lies in the same square of 2 or the next."""
    density, overlay = angles["density"], angles["overlay"]
    assert density["seconds"].sum() == pytest.approx(20.0)
    assert set((density["angle"] - density["reference"]).round(6)) == {0.0, 2.0}
    assert overlay["time"].iloc[0] == pytest.approx(2.0)
    assert len(overlay) == 800


def test_words_are_broken_where_the_column_ends():
    assert wrapped("knee range of motion, left", 20.0) == "knee range of\nmotion, left"
