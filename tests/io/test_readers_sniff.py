from hypothesis import given
from hypothesis import strategies as st
from strainstudy.io.readers import sniff


def kinds(line, separator, decimal):
    return [sniff._kind(cell, decimal) for cell in sniff._split(line, separator)]


@given(st.lists(st.text('0123456789.,;:\t-+eE#inf "/T', max_size=24), max_size=4))
def test_what_the_cells_of_a_line_hold_is_told_by_its_shape(lines):
    for line, shape in zip(lines, sniff._shapes(lines), strict=True):
        for separator in sniff.SEPARATORS:
            for decimal in ".,":
                assert kinds(shape, separator, decimal) == kinds(line, separator, decimal)


def test_rows_that_differ_in_their_digits_have_one_shape():
    assert set(sniff._shapes([f"{k / 100:.2f},{k % 7}.5" for k in range(300)])) == {"0.00,0.0"}
    assert sniff._shapes(["1.#INF,2"]) == ["1.#INF,2"]
