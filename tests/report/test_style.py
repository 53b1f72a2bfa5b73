"""How figures are written: what is placed or embedded once, and that it looks as if it were not."""

import re

import pytest
from strainstudy.report.style import drawing, in_forms, panels

FORMS = ("png", "svg", "pdf")


def figure_of(values=(0.0, 12_000.0)):
    figure, axes = panels(1, 2)
    axes[0, 0].plot(values, values)
    axes[0, 0].set(xlabel="differences ≥ −1", ylabel="flexion", title="A title")
    return figure, axes[0, 0]


def test_labels_stay_where_the_library_places_them():
    with drawing():
        (figure, axis), (other, placed) = figure_of(), figure_of()
        in_forms(figure, FORMS)
        other.draw_without_rendering()
        for own, library in ((axis.xaxis, placed.xaxis), (axis.yaxis, placed.yaxis)):
            at = own.label.get_window_extent(figure.canvas.get_renderer())
            expected = library.label.get_window_extent(other.canvas.get_renderer())
            assert at.bounds == pytest.approx(expected.bounds, abs=1.0)
            assert not at.overlaps(axis.bbox)


def test_labels_are_at_the_same_place_in_every_form():
    """An SVG has 72 units an inch, whatever the resolution of the form before it."""
    with drawing():
        (figure, _), (other, _) = figure_of(), figure_of()
        after, alone = in_forms(figure, FORMS)["svg"], in_forms(other, ("svg",))["svg"]
    places = [
        [tuple(map(float, at)) for at in re.findall(rb'<g transform="translate\(([\d.]+) ([\d.]+)\)', svg)]
        for svg in (after, alone)
    ]
    assert len(places[0]) == len(places[1]) > 10
    assert [x for at in places[0] for x in at] == pytest.approx([x for at in places[1] for x in at], abs=0.75)


def test_a_pdf_holds_each_font_once():
    """Ligatures, signs beyond Latin-1 and all other letters of a font are one font (FontFile2, ISO 32000-1, 9.9)."""
    with drawing():
        figure, _ = figure_of()
        pdf = in_forms(figure, ("pdf",))["pdf"]
    names = re.findall(rb"/BaseFont /[A-Z]{6}\+([\w-]+)", pdf)
    assert set(names) == {b"DejaVuSans", b"DejaVuSans-Bold"}
    assert pdf.count(b"/FontFile2") == 2


def test_small_numbers_leave_nothing_in_the_corner_that_a_title_would_lie_on():
    with drawing():
        for values in ((0.0, 4e-7), (100_000.0, 100_000.4), (0.0, 5e8)):
            figure, axis = figure_of(values)
            in_forms(figure, ("png",))
            assert not axis.yaxis.get_offset_text().get_text()
            numbers = [text.get_window_extent() for text in axis.get_yticklabels() if text.get_text()]
            heads = [
                text.get_window_extent()
                for text in axis.get_children()
                if getattr(text, "get_text", str)() == "A title"
            ]
            assert len(heads) == 1
            assert not [one for one in numbers if one.overlaps(heads[0])]
