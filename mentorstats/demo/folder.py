"""Write the exports of an invented programme into a folder that holds nothing else."""

import hashlib
import json
import tempfile
from collections.abc import Collection
from pathlib import Path

import numpy as np

from mentorstats.declared.study import FILE_NAME as STUDY
from mentorstats.demo import own_files, settings
from mentorstats.demo.faults import UNLISTED, listed, plant
from mentorstats.demo.invent import SEED, programme
from mentorstats.demo.layout import mapping
from mentorstats.demo.rubric import hearthside
from mentorstats.demo.sheets import save, sheets
from mentorstats.demo.truth import document
from mentorstats.policy import FILE_NAME as POLICY
from mentorstats.records.crosswalk import FILE_NAME as CROSSWALK

TRUTH = "truth.json"
_NAME = "Quillmoor Teaching Partnership"
_MADE_BY = "mentorstats demo"
_UNLISTED_TEXT = "who,what\r\noffice,ask Mollerquay for the missing forms\r\n"


def write(folder: Path | str, *, seed: int = SEED, later: Collection[str] = ()) -> None:
    """Write the exports, the settings (``mapping.toml`` and the like) and the truth file ``truth.json``.

    The same seed and library versions give the same bytes. Each file is written beside its place and then
    renamed. A folder that is there already is used only if it is empty or holds nothing, at any depth, but
    what the demo wrote and nobody changed since.

    Parameters
    ----------
    folder
        Where to; made if need be.
    seed
        Of everything drawn.
    later
        Paths below the folder of files that the caller writes afterwards and then gives to `note`.

    Raises
    ------
    SourceFileError
        The folder holds other or altered files, or is a file.
    """
    with tempfile.TemporaryDirectory(prefix="mentorstats-demo-") as beside:
        _fill(Path(beside), seed)
        files = {path.name: path.read_bytes() for path in sorted(Path(beside).iterdir())}
    own_files.write(Path(folder).absolute(), files, later=later)


def note(folder: Path | str, paths: Collection[Path]) -> None:
    """Put files that the caller wrote into the demo's folder on its list, so that they may be replaced."""
    own_files.note(Path(folder).absolute(), [path.absolute() for path in paths])


def _fill(folder: Path, seed: int) -> None:
    invented = programme(seed)
    exports = sheets(invented)
    layouts = [sheet.layout for sheet in exports]
    # One more than the programme's own streams: the faults take nothing from its chances.
    faults = plant(exports, np.random.default_rng(np.random.SeedSequence([seed, 1])))
    save(exports, folder)
    (folder / UNLISTED).write_bytes(_UNLISTED_TEXT.encode())
    (folder / "mapping.toml").write_bytes(mapping(layouts).encode())
    (folder / STUDY).write_bytes(settings.study().encode())
    (folder / POLICY).write_bytes(settings.policy().encode())
    (folder / CROSSWALK).write_bytes(settings.crosswalk(hearthside()).encode())
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
