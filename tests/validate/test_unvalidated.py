"""What labels cannot validate is said with the numbers that say so, and nothing where they can."""

import pandas as pd
from strainstudy.validate.unvalidated import unvalidated_words

COLUMNS = ["measure", "unit", "validity", "from_rater_timing"]
CV = ("stride_time_cv", "percent", "cannot be validated with these labels")


def test_the_measure_the_raters_timing_and_what_follows_are_said_once_for_both_states():
    rows = [(*CV, 3.81), (*CV, 3.23), ("cadence", "1/min", None, None)]
    said = unvalidated_words(pd.DataFrame(rows, columns=COLUMNS), lambda name: name.replace("_", " "))
    assert said == (
        "Stride time cv cannot be validated with these labels, as two raters' timing alone makes 3.2 to 3.8 % of it; "
        "nor can the standard deviation of stride times: no place of it beside published values, no change and no "
        "difference of it is shown to be right."
    )


def test_nothing_is_said_where_labels_are_fine_enough_or_there_are_none():
    rows = pd.DataFrame([("cadence", "1/min", None, None)], columns=COLUMNS)
    assert unvalidated_words(rows, str) == ""
    assert unvalidated_words(rows.iloc[:0], str) == ""
