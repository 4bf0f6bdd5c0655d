"""Write the exports of an invented programme into a folder, whole or not at all."""

import hashlib
import json
import shutil
import tempfile
from collections.abc import Collection
from pathlib import Path

import numpy as np

from mentorstats.demo.faults import UNLISTED, listed, plant
from mentorstats.demo.invent import SEED, programme
from mentorstats.demo.layout import mapping
from mentorstats.demo.policy import document as policy_document
from mentorstats.demo.sheets import save, sheets
from mentorstats.demo.study import document as study_document
from mentorstats.demo.truth import document
from mentorstats.errors import SourceFileError
from mentorstats.policy import FILE_NAME as POLICY
from mentorstats.study import FILE_NAME as STUDY

TRUTH = "truth.json"
_NAME = "Quillmoor Teaching Partnership"
_MADE_BY = "mentorstats demo"
_UNLISTED_TEXT = "who,what\r\noffice,ask Marlpit Lane for the missing forms\r\n"


def write(folder: Path | str, *, seed: int = SEED, replaceable: Collection[str] = ()) -> None:
    """Write the exports, ``mapping.toml``, ``study.toml``, ``policy.toml`` and the truth file ``truth.json``.

    The same seed and library versions give the same bytes. Everything is written beside the folder
    and then renamed, so that the folder is complete or unchanged. A folder that is there already is
    replaced only if it is empty or holds nothing but what this function wrote: ``truth.json`` lists
    each file with its SHA-256, and every file in the folder must be listed and unchanged. Names
    that begin with a dot do not count.

    Parameters
    ----------
    folder
        Where to; made if need be.
    seed
        Of everything drawn.
    replaceable
        Names of files and folders directly inside that the caller has written and will write again.

    Raises
    ------
    SourceFileError
        When the folder holds other or altered files, or is a file.
    """
    target = Path(folder).absolute()
    _refuse_others(target, replaceable)
    target.parent.mkdir(parents=True, exist_ok=True)
    beside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    try:
        made = beside / "new"
        made.mkdir()
        _fill(made, seed)
        if target.exists():
            target.rename(beside / "old")
        made.rename(target)
    except BaseException:
        if (beside / "old").exists() and not target.exists():
            (beside / "old").rename(target)
        raise
    finally:
        shutil.rmtree(beside)


def _fill(folder: Path, seed: int) -> None:
    invented = programme(seed)
    exports = sheets(invented)
    layouts = [sheet.layout for sheet in exports]
    # One more than the programme's own streams: the faults take nothing from its chances.
    faults = plant(exports, np.random.default_rng(np.random.SeedSequence([seed, 1])))
    save(exports, folder)
    (folder / UNLISTED).write_bytes(_UNLISTED_TEXT.encode())
    (folder / "mapping.toml").write_bytes(mapping(layouts).encode())
    (folder / STUDY).write_bytes(study_document().encode())
    (folder / POLICY).write_bytes(policy_document().encode())
    truth = {
        "made_by": _MADE_BY,
        "programme": f"{_NAME}: invented, nobody in it exists",
        "seed": seed,
        "files": {path.name: _sha256(path) for path in sorted(folder.iterdir())},
        **document(invented.truth),
        "faults": listed(exports, faults),
    }
    text = json.dumps(truth, ensure_ascii=False, indent=1, allow_nan=False)
    (folder / TRUTH).write_bytes(f"{text}\n".encode())


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _refuse_others(folder: Path, replaceable: Collection[str]) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise SourceFileError("is a file", where=str(folder), remedy="Name a folder.")
    ours = _written(folder)
    for path in sorted(folder.iterdir()):
        if path.name in replaceable or path.name.startswith("."):
            continue
        if path.name not in ours:
            raise SourceFileError(
                "holds files that were not written here, such as " + repr(path.name),
                where=str(folder),
                remedy="Name a new or an empty folder.",
            )
        if not path.is_file() or _sha256(path) != ours[path.name]:
            raise SourceFileError(
                f"{path.name!r} was changed since it was written",
                where=str(folder),
                remedy="Name a new folder, or delete this one first.",
            )


def _written(folder: Path) -> dict[str, str]:
    """SHA-256 of each file that an earlier run lists, its own list included; empty without such a list."""
    path = folder / TRUTH
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(content, dict) or content.get("made_by") != _MADE_BY:
        return {}
    return {TRUTH: _sha256(path), **content.get("files", {})}
