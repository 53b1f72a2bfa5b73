"""Keep a trained model where code cannot hide: skops with an explicit list of types, the same bytes every time.

In: `PersonClassifier` models by variant. Out: bytes of one file, and back. skops names members by memory addresses and
zip stores the time of day, so the file is rewritten: members numbered in the order of the schema, a fixed date,
no compression. A pickle is refused by its first bytes as well as by name.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import skops.io

from ..errors import Problem, StudyError
from .calibration import Calibration
from .feature_rows import Task
from .fitting import Learner, PersonClassifier, Recipe
from .scaling import Scaling

__all__ = ["MODEL_FORMAT", "TRUSTED_TYPES", "canonical", "dump_models", "load_models"]

MODEL_FORMAT = 1
"""Counted up when a stored model changes so that older versions cannot read it."""
TRUSTED_TYPES = (
    "numpy.dtype",
    "sklearn.ensemble._hist_gradient_boosting.predictor.TreePredictor",
    "sklearn.tree._tree.Tree",
)
"""Types beyond those skops itself trusts that a model of ours may hold."""
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)
"""Time stamp of what is stored, so that the same model has the same bytes: the earliest a ZIP file can have."""


def _renumber(node: Any, numbers: dict[int, int], files: dict[str, str], fresh: list[int]) -> Any:
    """Replace ids and member names in the order in which the schema names them."""
    if isinstance(node, list):
        return [_renumber(item, numbers, files, fresh) for item in node]
    if not isinstance(node, dict):
        return node
    out: dict[str, Any] = {}
    for key, value in node.items():
        if key == "__id__":
            # Small constants share an address or not by chance; nothing but the number depends on it.
            shared = not node.get("is_json")
            if shared and value in numbers:
                out[key] = numbers[value]
                continue
            fresh[0] += 1
            out[key] = fresh[0]
            if shared:
                numbers[value] = fresh[0]
        elif key == "file" and isinstance(value, str):
            files.setdefault(value, f"{len(files):05d}{Path(value).suffix}")
            out[key] = files[value]
        else:
            out[key] = _renumber(value, numbers, files, fresh)
    return out


def canonical(content: bytes) -> bytes:
    """Rewrite a skops file so that equal models give equal bytes.

    Parameters
    ----------
    content : bytes
        As `skops.io.dumps` makes them.

    Returns
    -------
    bytes
        A skops file that loads to the same object.
    """
    files: dict[str, str] = {}
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        schema = _renumber(json.loads(archive.read("schema.json")), {}, files, [0])
        members = {new: archive.read(old) for old, new in files.items()}
    members["schema.json"] = json.dumps(schema, indent=0).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(members):
            archive.writestr(zipfile.ZipInfo(name, _FIXED_DATE), members[name])
    return out.getvalue()


def dump_models(models: Mapping[str, PersonClassifier]) -> bytes:
    """Write models as one skops file.

    Parameters
    ----------
    models : mapping of variant to PersonClassifier
        Some of `Task.variants`.

    Returns
    -------
    bytes
        Equal for equal models. Participants are not in it.
    """
    content = {
        "format": MODEL_FORMAT,
        "variants": {
            name: {
                "columns": list(model.columns),
                "classes": list(model.task.classes),
                "centre": np.asarray(model.learner_.scaling.centre, dtype=np.float64),
                "scale": np.asarray(model.learner_.scaling.scale, dtype=np.float64),
                "sides": [list(places) for places in model.learner_.scaling.sides],
                "pipeline": model.learner_.pipeline,
                "slope": model.calibration_.slope,
                "shift": list(model.calibration_.shift),
                "low": np.asarray(model.low_, dtype=np.float64),
                "high": np.asarray(model.high_, dtype=np.float64),
            }
            for name, model in sorted(models.items())
        },
    }
    return canonical(skops.io.dumps(content))


def _refuse(file: str, message: str, remedy: str) -> StudyError:
    return StudyError([Problem(file, message, remedy, column="model")])


def load_models(content: bytes, file: str) -> dict[str, PersonClassifier]:
    """Read models back, trusting nothing but the types in `TRUSTED_TYPES`.

    Parameters
    ----------
    content : bytes
        Of a model file.
    file : str
        Its name, for messages.

    Returns
    -------
    dict of str to PersonClassifier

    Raises
    ------
    StudyError
        For a pickle, for anything but a skops file, for a type that is not trusted, for another format.
    """
    remedy = "give the model/ folder of a strainstudy run"
    if content[:1] == b"\x80" or file.endswith((".pkl", ".pickle", ".joblib")):
        raise _refuse(file, "is a pickle, which can run any code when it is opened", remedy)
    if not zipfile.is_zipfile(io.BytesIO(content)):
        raise _refuse(file, "is not a skops model file", remedy)
    try:
        strange = sorted(set(skops.io.get_untrusted_types(data=content)) - set(TRUSTED_TYPES))
    except (KeyError, TypeError, ValueError, AttributeError, ImportError, zipfile.BadZipFile) as error:
        raise _refuse(file, f"cannot be read as a skops model ({error})", remedy) from error
    if strange:
        raise _refuse(file, f"holds types that are not trusted: {', '.join(strange)}", remedy)
    held = skops.io.loads(content, trusted=list(TRUSTED_TYPES))
    if not isinstance(held, dict) or held.get("format") != MODEL_FORMAT:
        found = held.get("format") if isinstance(held, dict) else None
        raise _refuse(file, f"has model format {found}, this version reads {MODEL_FORMAT}", "train it again")
    return {name: _restored(part) for name, part in held["variants"].items()}


def _restored(part: Mapping[str, Any]) -> PersonClassifier:
    task = Task(columns=tuple(part["columns"]), classes=tuple(part["classes"]))
    model = PersonClassifier(task, Recipe((), 0, 0))
    scaling = Scaling(part["centre"], part["scale"], tuple(tuple(at) for at in part["sides"]))
    model.learner_ = Learner(scaling, part["pipeline"])
    model.calibration_ = Calibration(part["slope"], tuple(part["shift"]))
    model.low_, model.high_ = part["low"], part["high"]
    model.n_features_in_ = len(task.columns)
    return model
