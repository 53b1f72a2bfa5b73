"""References: well-formed BibTeX, complete against what the package names, and nothing made up."""

import re
from pathlib import Path

import pandas as pd
import pytest
from strainstudy.paper.references import bibliography, entries_in, entry_of_source
from strainstudy.sections import SECTIONS
from strainstudy.settings import describe

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "workflow" / "strainstudy"
TEXT = (PACKAGE / "paper" / "references.bib").read_text(encoding="utf-8")
ENTRIES = entries_in(TEXT)
REQUIRED = {
    "article": {"author", "title", "journal", "year"},
    "book": {"author", "title", "publisher", "year"},
    "incollection": {"author", "title", "booktitle", "publisher", "year"},
    "inproceedings": {"author", "title", "booktitle", "year"},
    "techreport": {"author", "title", "institution", "year"},
    "misc": {"title"},
}
"""Required fields (Patashnik 1988, BibTeXing, section 3.1; title of misc: ours)."""
NAMED = re.compile(
    r"([A-Z][a-zé’'-]+(?:-[A-Z][a-z]+)?)(?: [A-Z]{1,3})?(?:,? (?:&|and) [A-Z][a-z]+| et al\.?)?,? \(?((?:19|20)\d\d)\b"
)
NO_AUTHORS = {("Biometrics", "2000"), ("Bland-Altman", "1986"), ("Shrout-Fleiss", "1979"), ("Graw-Wong", "1996")}
"""A journal and pairs of names, whose papers stand under their authors."""


def fields_of(entry: str) -> dict[str, str]:
    return dict(re.findall(r"^  (\w+) = \{(.*)\},?$", entry, flags=re.MULTILINE))


@pytest.mark.parametrize("key", ENTRIES)
def test_an_entry_has_its_required_fields_and_balanced_braces(key):
    entry = ENTRIES[key]
    kind = re.match(r"@(\w+)\{", entry)[1]
    fields = fields_of(entry)
    assert REQUIRED[kind] <= set(fields)
    assert entry.count("{") == entry.count("}")
    assert len(fields) == entry.count("\n") - 1
    for value in fields.values():
        assert not re.search(r"(?<!\\)[&%#]", value)


def test_nothing_of_the_file_is_outside_an_entry_and_no_key_comes_twice():
    assert "\n\n".join(ENTRIES.values()) == TEXT.strip()
    with pytest.raises(ValueError, match="two entries"):
        entries_in(TEXT + "\n" + ENTRIES["weir2005"] + "\n")


def test_every_doi_stands_in_the_repository_or_is_that_of_a_library():
    """Those of NumPy and matplotlib are on the pages where the projects ask to be cited (numpy.org/citing-numpy)."""
    sources = "\n".join(path.read_text(encoding="utf-8") for path in PACKAGE.rglob("*.py"))
    sources = re.sub(r'"\s*\n\s*"|\n\s*', " ", sources) + (ROOT / "config/norms.tsv").read_text(encoding="utf-8")
    known = {"10.1038/s41586-020-2649-2", "10.1109/MCSE.2007.55"}
    given = {doi for entry in ENTRIES.values() if (doi := fields_of(entry).get("doi"))}
    assert {doi for doi in given if doi not in sources} == known


def test_every_author_and_year_that_the_package_names_has_an_entry():
    missing = {}
    for path in PACKAGE.rglob("*.py"):
        text = re.sub(r'"\s*\n\s*f?"|\n\s*', " ", path.read_text(encoding="utf-8"))
        for name, year in NAMED.findall(text):
            if (name, year) not in NO_AUTHORS and not any(name in e and year in e for e in ENTRIES.values()):
                missing[name, year] = path.name
    assert missing == {}


def test_every_published_source_of_a_setting_has_an_entry():
    sources = {entry["source"] for kind in SECTIONS.values() for entry in describe(kind)}
    named = {pair for source in sources for pair in NAMED.findall(source)}
    assert len(named) > 15
    assert {(n, y) for n, y in named if not any(n in e and y in e for e in ENTRIES.values())} == set()


@pytest.mark.parametrize(
    ("source", "author", "doi"),
    [
        ("Begg RK, Sparrow WA 2006, J Med Eng Technol 30:382-389", "Begg, R. K. and Sparrow, W. A.", None),
        ("Gassner H et al. 2020, J Neurol, doi 10.1007/s00415-020-09725-3", "Gassner, H. and others",
         "10.1007/s00415-020-09725-3"),
        ("Selen Akil D et al. 2024, Eur Arch", "Selen Akil, D. and others", None),
        ("Frenkel-Toledo S et al. 2005, doi 10.1186/1743-0003-2-23, table 2", "Frenkel-Toledo, S. and others",
         "10.1186/1743-0003-2-23"),
        ("Front Neurol 2020 11:893, table 3, doi 10.3389/fneur.2020.00893", None, "10.3389/fneur.2020.00893"),
        ("k-means classification of stiff-knee gait, PMC9654761", None, None),
    ],
)  # fmt: skip
def test_a_source_of_norms_becomes_an_entry_with_its_own_words_and_no_more(source, author, doi):
    key, entry = entry_of_source(source, "from memory (85 %)", 3)
    fields = fields_of(entry)
    assert key == "norm03"
    assert fields.get("author") == author
    assert fields.get("doi") == doi
    assert fields["title"].replace("\\_", "_") == f"{{{source}}}"
    assert r"from memory (85 \%)" in fields["note"]


def test_every_source_of_the_norms_that_come_with_the_project_is_found_again():
    norms = pd.read_csv(ROOT / "config/norms.tsv", sep="\t", dtype=str)
    sources = dict(zip(norms["source"], norms["source_read"], strict=True))
    text = bibliography(TEXT, sources, {"numpy": "2.0"})
    entries = entries_in(text)
    assert len(entries) > len(ENTRIES) + 15
    for source in sources:
        doi = re.search(r"doi (10\.\S+?)(?=[,;)\s]|$)", source)
        first = re.match(r"[\w-]+", source)[0]
        assert (doi and f"doi = {{{doi[1]}}}" in text) or any(first in entry for entry in entries.values()), source
    assert "Version 2.0" in entries["software_numpy"]


def test_two_sources_with_one_doi_and_one_that_the_package_knows_make_no_entry_twice():
    paper = "Frenkel-Toledo S et al. 2005, doi 10.1186/1743-0003-2-23"
    sources = dict.fromkeys((f"{paper}, table 2", f"{paper}, table 3", "Perry J, Burnfield JM 2010, SLACK"), "yes")
    fresh = set(entries_in(bibliography(TEXT, sources, {}))) - set(ENTRIES)
    assert fresh == {"norm01"}
