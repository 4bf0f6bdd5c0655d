"""The tree is the data flow: each module imports only from those to its left."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from mentorstats import places
from mentorstats.estimate import Estimate, Status, has_value
from mentorstats.sources import SOURCES

PACKAGE = Path(places.__file__).parent
ROOT = PACKAGE.parent

FOUNDATIONS = (
    "errors",
    "caution",
    "printed",
    "drawings",
    "estimate",
    "places",
    "sources",
    "progress",
    "dictionary",
    "declared",
    "policy",
    "threads",
    "arguments",
    "tables",
    "entry",
    "writing",
)
ORDER = (
    *FOUNDATIONS,
    "records",
    "mixed",
    "agreement",
    "key_scores",
    "reliability",
    "calibration",
    "programme",
    "disclosure",
    "report",
    "demo",
    "cli_options",
    "commands",
    "cli",
    "__main__",
)


def _imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        else:
            continue
        for name in names:
            parts = name.split(".")
            if parts[0] == "mentorstats" and len(parts) > 1 and parts[1] != "__version__":
                found.add(parts[1])
    return found


def _module_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


MODULES = sorted(
    path for path in PACKAGE.rglob("*.py") if path.name != "__init__.py" or path.parent != PACKAGE
)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_from_its_left(path):
    here = _module_of(path)
    if here in ("analyses", "data_dictionary"):
        return
    assert here in ORDER, f"{here} has no place in the order"
    for imported in _imports(path):
        assert imported in ORDER
        assert ORDER.index(imported) <= ORDER.index(here), f"{here} imports {imported}"


def test_statistics_know_no_files_and_no_html():
    for name in ("mixed", "agreement", "key_scores", "reliability", "calibration", "programme"):
        for path in (PACKAGE / name).rglob("*.py"):
            assert not _imports(path) & {"records", "report", "dictionary", "places"}, path


def test_no_room_is_crowded():
    rooms = [folder for folder in (PACKAGE, *PACKAGE.rglob("*")) if folder.is_dir()]
    own = [room for room in rooms if "__pycache__" not in room.parts]
    crowded = {room.name: sum(path.is_file() for path in room.iterdir()) for room in own}
    assert {name: files for name, files in crowded.items() if files > 18} == {}


def test_only_commands_and_progress_write():
    for path in MODULES:
        if _module_of(path) in ("commands", "progress"):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = {
            node.func.id
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        }
        assert "print" not in calls, path


def test_statuses_are_the_vocabulary():
    text = (places.data_dictionary() / "vocabulary" / "statuses.toml").read_text(encoding="utf-8")
    listed = tomllib.loads(text)
    assert [status.value for status in Status] == list(listed)
    assert {status.value: has_value(status) for status in Status} == {
        k: v["has_value"] for k, v in listed.items()
    }


def test_a_status_without_value_refuses_one():
    with pytest.raises(ValueError, match="no value"):
        Estimate(name="x", value=0.5, status=Status.ONE_RATER)


CITATION = re.compile(r"\[([a-z][a-z_]*_(?:19|20)\d\d[a-z]?)\]")


def test_every_cited_key_is_in_the_bibliography():
    texts = [path for folder in (PACKAGE, places.analyses(), ROOT / "tests") for path in folder.rglob("*.py")]
    cited = {key for path in texts for key in CITATION.findall(path.read_text(encoding="utf-8"))}
    assert cited, "no citation found: the pattern has drifted"
    assert cited <= set(SOURCES), sorted(cited - set(SOURCES))


def test_importing_the_command_line_loads_nothing_heavy():
    heavy = ("numpy", "pandas", "scipy", "matplotlib")
    code = f"import sys, mentorstats.cli; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_no_test_leaves_a_file_at_the_top():
    files = {path.name for path in ROOT.iterdir() if path.is_file() and not path.name.startswith(".")}
    assert files == {"README.md", "DEVELOPERS.md", "pyproject.toml"}
