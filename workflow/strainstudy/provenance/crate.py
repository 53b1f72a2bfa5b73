"""The run as an RO-Crate, for archives and for machines.

In: what ran, on what, to what. Out: the JSON-LD of ``ro-crate-metadata.json`` by the Process Run Crate profile 0.5
over RO-Crate 1.1 (https://w3id.org/ro/wfrun/process/0.5; https://w3id.org/ro/crate/1.1). The profile's ``endTime``
is a recommendation that is left out: the same inputs are to give the same bytes.
"""

from __future__ import annotations

import mimetypes
from collections.abc import Mapping
from typing import Any

import pandas as pd

__all__ = ["run_crate"]

_PROFILE = "https://w3id.org/ro/wfrun/process/0.5"
_SOFTWARE = "#strainstudy"
_ACTION = "#run"
_TYPES = {
    ".tsv": "text/tab-separated-values",
    ".parquet": "application/vnd.apache.parquet",
    ".skops": "application/zip",
    ".yaml": "application/yaml",
    ".md": "text/markdown",
}


def _file(row: pd.Series, prefix: str) -> dict[str, Any]:
    name = str(row["file"])
    suffix = name[name.rfind(".") :] if "." in name else ""
    entity: dict[str, Any] = {
        "@id": prefix + name,
        "@type": "File",
        "name": name,
        "contentSize": str(row["bytes"]),
        "sha256": row["sha256"],
    }
    kind = _TYPES.get(suffix) or mimetypes.guess_type(name)[0]
    if kind:
        entity["encodingFormat"] = kind
    return entity


def run_crate(
    manifest: pd.DataFrame, *, name: str, date: str, version: str, packages: Mapping[str, str]
) -> dict[str, Any]:
    """Describe one run.

    Parameters
    ----------
    manifest : DataFrame
        Columns ``role`` (input, setting, output), ``file``, ``bytes``, ``sha256``.
    name : str
        Name of the study.
    date : str
        ISO 8601 date written as the crate's date of publication.
    version : str
        Version of this software.
    packages : mapping of str to str
        Versions of the libraries that computed, by name.

    Returns
    -------
    dict
        JSON-LD document.
    """
    outputs = [_file(row, "../") for _, row in manifest[manifest["role"] == "output"].iterrows()]
    given = [
        {**_file(row, f"#{row['role']}/"), "@type": "CreativeWork"}
        for _, row in manifest[manifest["role"] != "output"].iterrows()
    ]
    libraries = [
        {"@id": f"#package-{package}", "@type": "SoftwareApplication", "name": package, "softwareVersion": number}
        for package, number in sorted(packages.items())
    ]

    def ids(entities: list[dict[str, Any]]) -> list[dict[str, str]]:
        return [{"@id": entity["@id"]} for entity in entities]

    graph: list[dict[str, Any]] = [
        {
            "@id": "ro-crate-metadata.json",
            "@type": "CreativeWork",
            "conformsTo": {"@id": "https://w3id.org/ro/crate/1.1"},
            "about": {"@id": "./"},
        },
        {
            "@id": "./",
            "@type": "Dataset",
            "name": f"Results of {name}",
            "description": f"Tables, figures and models that strainstudy {version} made from the study {name}. "
            "Research results; not for diagnosis.",
            "datePublished": date,
            "license": "The study's own; the software that made it is BSD-3-Clause.",
            "conformsTo": {"@id": _PROFILE},
            "hasPart": ids(outputs),
            "mentions": [{"@id": _ACTION}],
        },
        {"@id": _PROFILE, "@type": "CreativeWork", "name": "Process Run Crate", "version": "0.5"},
        {
            "@id": _SOFTWARE,
            "@type": "SoftwareApplication",
            "name": "strainstudy",
            "version": version,
            "softwareRequirements": ids(libraries),
        },
        {
            "@id": _ACTION,
            "@type": "CreateAction",
            "name": f"strainstudy on {name}",
            "description": "snakemake, with the settings listed among the objects",
            "instrument": {"@id": _SOFTWARE},
            "object": ids(given),
            "result": ids(outputs),
            "actionStatus": "http://schema.org/CompletedActionStatus",
        },
        *libraries,
        *given,
        *outputs,
    ]
    return {"@context": "https://w3id.org/ro/crate/1.1/context", "@graph": graph}
