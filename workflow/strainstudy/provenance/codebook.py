"""What each column of each table means, as one page for people: ``codebook.html``.

In: the sidecars of a results folder's tables. Out: a page that needs no network and no script.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path, PurePosixPath
from typing import Any, Final

import pyarrow.parquet as pq

from ..io.frames import read_json

__all__ = ["CODEBOOK", "codebook_page"]

CODEBOOK: Final = "codebook.html"
_STYLE: Final = """\
body { margin: 0 auto; padding: 1.5rem clamp(1rem, 4vw, 3rem) 3rem; max-width: 76rem; background: #fffefb;
  color: #1c1c1a; font: 16px/1.5 Georgia, "Times New Roman", serif; }
a { color: #00527f; }
h2 { margin: 2.2rem 0 .3rem; padding-top: .6rem; border-top: 1px solid #1c1c1a; font-size: 1.3rem; }
p { max-width: 48rem; margin: .4rem 0; }
.where { color: #5d5d58; font-size: .9rem; }
nav ul { columns: 3 16rem; column-gap: 2.5rem; padding-left: 1.2rem; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; font: .85rem/1.35 system-ui, "Segoe UI", Arial, sans-serif; }
th, td { padding: .25rem .6rem; border-bottom: 1px solid #d9d6cf; text-align: left; vertical-align: top; }
thead th { border-bottom: 2px solid #1c1c1a; }
tbody th { font: .82rem/1.4 ui-monospace, Menlo, Consolas, monospace; white-space: nowrap; }
@media print { nav { display: none; } .scroll { overflow: visible; } }
"""
_KINDS: Final = {"string": "text", "number": "number", "integer": "whole number", "boolean": "true or false"}


def _row(name: str, title: str, description: str, unit: str, kind: str) -> str:
    cells = "".join(f"<td>{escape(text)}</td>" for text in (title, description, unit, kind))
    return f'<tr><th scope="row">{escape(name)}</th>{cells}</tr>'


def _section(anchor: str, title: str, where: str, description: str, rows: Sequence[str]) -> list[str]:
    heads = "".join(f'<th scope="col">{word}</th>' for word in ("Column", "Name", "Meaning", "Unit", "Kind"))
    return [
        f'<section id="{escape(anchor)}">',
        f"<h2>{escape(title)}</h2>",
        f'<p class="where">{escape(where)}</p>',
        f"<p>{escape(description)}</p>",
        '<div class="scroll"><table>',
        f"<thead><tr>{heads}</tr></thead>",
        "<tbody>",
        *rows,
        "</tbody></table></div>",
        "</section>",
    ]


def _of_table(file: str, sidecar: Mapping[str, Any], twins: Sequence[str]) -> list[str]:
    rows = [
        _row(
            entry["name"],
            entry.get("title", ""),
            entry.get("description", ""),
            entry.get("unit", ""),
            _KINDS[entry["type"]],
        )
        for entry in sidecar["fields"]
    ]
    twin = str(PurePosixPath(file).with_suffix(".parquet"))
    where = f"{file}, and as {twin}" if twin in twins else file
    return _section(file, sidecar["title"], where, sidecar["description"], rows)


def _of_signals(path: Path) -> list[str]:
    rows = []
    for column in pq.read_schema(path):
        words = {key.decode(): value.decode() for key, value in (column.metadata or {}).items()}
        kind = "number" if str(column.type) in ("float", "double") else "text"
        rows.append(
            _row(column.name, words.get("title", ""), words.get("description", ""), words.get("unit", ""), kind)
        )
    words_of_all = (
        "One row for each sample and tracked point, on the uniform time grid of its recording. All files have the same "
        "columns and are read as one data set."
    )
    return _section("signals", "Signals", "signals/*.parquet", words_of_all, rows)


def codebook_page(results: Path, files: Sequence[str], *, name: str) -> str:
    """Write the page.

    Parameters
    ----------
    results : Path
        Results folder.
    files : sequence of str
        Names of its files; tables with a sidecar and signals are described.
    name : str
        Name of the study.

    Returns
    -------
    str
        HTML.
    """
    there = [file for file in sorted(files) if (results / file).is_file()]
    tables = [f for f in there if f.endswith(".tsv") and (results / f).with_suffix(".json").is_file()]
    sidecars = {file: read_json((results / file).with_suffix(".json")) for file in tables}
    signals = [file for file in there if file.startswith("signals/")]
    links = [
        f'<li><a href="#{escape(f)}">{escape(s["title"])}</a> <span class="where">{escape(f)}</span></li>'
        for f, s in sidecars.items()
    ]
    body = [line for file, sidecar in sidecars.items() for line in _of_table(file, sidecar, there)]
    if signals:
        links.append('<li><a href="#signals">Signals</a> <span class="where">signals/*.parquet</span></li>')
        body += _of_signals(results / signals[0])
    head = [
        "<!doctype html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
        f"<title>{escape(name)}: codebook</title>",
        f"<style>\n{_STYLE}</style>",
        "</head>",
        "<body>",
        f"<h1>Codebook of {escape(name)}</h1>",
        "<p>Every column of every table in this folder. Tables are tab-separated text in UTF-8 with one header row; "
        "n/a is a missing value. The same words stand, for machines, in the .json file beside each table, and "
        "datapackage.json lists all tables. Text whose first character a spreadsheet would run as a formula has an "
        "apostrophe before it.</p>",
        f"<nav><ul>{''.join(links)}</ul></nav>",
    ]
    return "\n".join([*head, *body, "</body>", "</html>", ""])
