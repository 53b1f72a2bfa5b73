"""Words that everything else goes by."""

import subprocess
import sys

NEWCOMER = """
import importlib.util, sys
from pathlib import Path
import strainstudy

path = Path(strainstudy.__file__).parent / "vocabulary.py"
text = path.read_text(encoding="utf-8")
row = '    "heel_rise": EventType("heel rises", instant=True, sided=True),\\n'
before = '    "swallow": EventType('
assert text.count(before) == 1
spec = importlib.util.spec_from_file_location("strainstudy.vocabulary", path)
module = importlib.util.module_from_spec(spec)
sys.modules[spec.name] = module
exec(compile(text.replace(before, row + before), str(path), "exec"), module.__dict__)

import pandas as pd
from strainstudy.io.labels import read_labels
from strainstudy.validate.events import score_events
from strainstudy.validate.parameters import ValidateParameters

sheet = Path(sys.argv[1])
sheet.write_text("onset\\tduration\\ttrial_type\\tside\\tvalue\\n1.0\\t0\\theel_rise\\tleft\\tn/a\\n", encoding="utf-8")
labels = read_labels(sheet)
table = score_events({"r": labels}, {"r": labels.assign(onset=1.01)}, {"r": "p"}, ValidateParameters())
print(table[table["side"] == "all"]["reading"].iloc[0])
"""


def test_an_event_type_is_one_row_of_the_vocabulary(tmp_path):
    """As a newcomer would: one row added to a copy of the table; its labels are read, scored and put into words."""
    done = subprocess.run(
        [sys.executable, "-c", NEWCOMER, str(tmp_path / "labels.tsv")], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert "Of 1 labelled heel rises 1 were found" in done.stdout
