"""The sources that a paper cites: those of the methods, of the settings, of the norms that were used, and the software.

In: the entries that stand in ``references.bib`` of this package, sources as the study's tables cite them, versions.
Out: one BibTeX file. A source that the package has no entry for becomes one of its own, with its words as they are
and a note of what is missing: nothing is made up.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Final

__all__ = ["bibliography", "entries_in", "entry_of_source", "software_entry"]

_ENTRY: Final = re.compile(r"^@(\w+)\{([^,\s]+),\n(.*?)\n\}$", re.DOTALL | re.MULTILINE)
_AUTHORS: Final = re.compile(
    r"((?:[^\W\d_][\w'’-]+ )+?[A-Z]{1,3}(?:, (?:[^\W\d_][\w'’-]+ )+?[A-Z]{1,3})*)( et al\.)?(?=[ ,])"
)
_DOI: Final = re.compile(r"\bdoi (10\.\d{4,}/\S+?)(?=[,;)\s]|$)")
_YEAR: Final = re.compile(r"\b(?:19|20)\d\d\b")
_ESCAPES: Final = {
    "\\": r"\textbackslash{}", "{": r"\{", "}": r"\}", "&": r"\&", "%": r"\%", "$": r"\$", "#": r"\#", "_": r"\_",
    "~": r"\textasciitilde{}", "^": r"\textasciicircum{}",
}  # fmt: skip


def entries_in(text: str) -> dict[str, str]:
    """Take BibTeX apart into entries by key.

    Parameters
    ----------
    text : str
        Entries that begin with ``@kind{key,`` on a line of their own and end with ``}`` on one.

    Returns
    -------
    dict of str to str

    Raises
    ------
    ValueError
        If two entries have the same key.
    """
    found: dict[str, str] = {}
    for match in _ENTRY.finditer(text):
        if match[2] in found:
            raise ValueError(f"references.bib has two entries {match[2]}")
        found[match[2]] = match[0]
    return found


def _escaped(text: str) -> str:
    return "".join(_ESCAPES.get(letter, letter) for letter in text)


def _entry(kind: str, key: str, fields: Iterable[tuple[str, str]]) -> str:
    lines = ",\n".join(f"  {name} = {{{value}}}" for name, value in fields)
    return f"@{kind}{{{key},\n{lines}\n}}"


def _people(words: str, others: str | None) -> str:
    names = [name.rsplit(" ", 1) for name in words.split(", ")]
    written = [f"{family}, {' '.join(f'{letter}.' for letter in first)}" for family, first in names]
    return _escaped(" and ".join([*written, *(["others"] if others else [])]))


def entry_of_source(source: str, known: str, number: int) -> tuple[str, str]:
    """Make an entry of a source that is only known as a table cites it.

    Parameters
    ----------
    source : str
        Such as ``Perry J, Burnfield JM 2010, Gait Analysis, 2nd ed., SLACK``.
    known : str
        How its number is known, as in the table of norms.
    number : int
        For its key, which is ``norm`` and this number.

    Returns
    -------
    key, entry : str
        ``@misc`` with the words of the source; authors, year and DOI are taken out of them where they stand there.
    """
    people, year, doi = _AUTHORS.match(source), _YEAR.search(source), _DOI.search(source)
    fields = []
    if people:
        fields.append(("author", _people(people[1], people[2])))
    fields.append(("title", f"{{{_escaped(source)}}}"))
    if year:
        fields.append(("year", year[0]))
    if doi:
        fields.append(("doi", doi[1]))
    how = {"yes": "read in the source", "computed": "computed from its open data", "quoted": "read where it is quoted"}
    fields.append(
        ("note", f"Cited as the table of norms has it, {_escaped(how.get(known, known))}; complete the entry")
    )
    key = f"norm{number:02d}"
    return key, _entry("misc", key, fields)


def software_entry(package: str, version: str) -> tuple[str, str]:
    """Make the entry of a package with the version that ran; its key is ``software_`` and its name."""
    key = f"software_{re.sub(r'[^a-z0-9]', '', package.lower())}"
    fields = [
        ("title", f"{{{_escaped(package)}}}"),
        ("howpublished", "Software"),
        ("note", f"Version {_escaped(version)}"),
    ]
    return key, _entry("misc", key, fields)


def _is_known(source: str, entries: Mapping[str, str]) -> bool:
    """Whether an entry is of the same first author and year."""
    people, year = _AUTHORS.match(source), _YEAR.search(source)
    if not people or not year:
        return False
    family = people[1].split(", ")[0].rsplit(" ", 1)[0]
    return any(f"  author = {{{family}, " in entry and f"  year = {{{year[0]}}}" in entry for entry in entries.values())


def bibliography(text: str, sources: Mapping[str, str], versions: Mapping[str, str]) -> str:
    """Write the file of all references.

    Parameters
    ----------
    text : str
        Entries of this package.
    sources : mapping of str to str
        Published sources that the study's values were laid beside, with how their numbers are known.
    versions : mapping of str to str
        Versions of the packages that ran.

    Returns
    -------
    str
        BibTeX, sorted by key; a source that an entry of the package is of, by DOI or by first author and year, makes
        none of its own, and two with one DOI make one.
    """
    entries = entries_in(text)
    dois = {doi for entry in entries.values() for doi in re.findall(r"  doi = \{(.+)\}", entry)}
    fresh = []
    for source in sorted(sources):
        doi = _DOI.search(source)
        if (doi and doi[1] in dois) or _is_known(source, entries):
            continue
        dois |= {doi[1]} if doi else set()
        fresh.append(source)
    entries |= dict(entry_of_source(source, sources[source], k) for k, source in enumerate(fresh, start=1))
    entries |= dict(software_entry(package, versions[package]) for package in sorted(versions))
    return "\n\n".join(entries[key] for key in sorted(entries)) + "\n"
