"""Rules of the house: what may import what, how light it stays, and what every module owes its reader."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from itertools import chain
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CORE = ROOT / "surfscan"
PLUGIN = ROOT / "plugins" / "napari_surfscan"

# Left to right: a room imports only from rooms to its left. One line is one rank; ranks never look sideways.
ORDER = (
    ("_version",),
    ("images", "errors", "columns"),
    ("loaders",),
    ("calibration",),
    ("opening",),
    ("preparation",),
    ("segmentation",),
    ("measurement",),
    ("estimates",),
    ("procedures",),
    ("materials",),
    ("electrochemistry",),
    ("immersion",),
    ("corrections",),
    ("comparison",),
    ("store",),
    ("study",),
    ("report",),
    ("demo",),
    ("cli",),
    ("__main__",),
)
RANK = {room: rank for rank, rooms in enumerate(ORDER) for room in rooms}

MODULES = sorted(p for p in CORE.rglob("*.py") if "_sample_images" not in p.parts)
OURS = sorted(
    chain.from_iterable(
        (ROOT / top).rglob("*.py") for top in ("surfscan", "plugins", "tests", "benchmarks", "sample_images")
    )
)
TEXTS = sorted(
    path
    for path in ROOT.rglob("*")
    if path.suffix in {".py", ".md", ".toml", ".yaml", ".csv", ".html", ".css", ".j2", ".cfg"}
    and not {".venv", ".git", "demo", "build", "dist"} & set(path.relative_to(ROOT).parts[:1])
    and not {"__pycache__", ".hypothesis", "node_modules"} & set(path.parts)
)


def _name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def _imports(path: Path) -> Iterator[tuple[int, str]]:
    """Line and dotted name of everything a module imports, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{_name(path)}:{node.lineno}: relative import"
            for alias in node.names:
                yield node.lineno, f"{node.module}.{alias.name}"


def _room(dotted: str) -> str:
    """Room of a dotted surfscan name; names that `surfscan` itself re-exports belong to their home."""
    part = dotted.split(".")[1] if "." in dotted else ""
    homes = {"__version__": "_version", "open_image": "opening", "InputError": "errors"}
    return homes.get(part, "images" if part in {"Calibration", "HeightMap", "Micrograph", "Source"} else part)


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_import_order(path):
    """Data moves one way: no module imports from its right, and none from a neighbour of its rank."""
    own = path.relative_to(CORE).parts[0].removesuffix(".py")
    if own == "__init__":
        return  # the shop window: names fetched on first use
    for line, dotted in _imports(path):
        if dotted.split(".")[0] != "surfscan":
            continue
        other = _room(dotted)
        allowed = other == own or RANK[other] < RANK[own]
        assert allowed, f"{_name(path)}:{line}: {own} must not import {other}"


def test_every_room_has_its_place():
    """A new room is entered in the order before it imports anything."""
    rooms = {p.relative_to(CORE).parts[0].removesuffix(".py") for p in MODULES} - {"__init__"}
    assert rooms <= set(RANK)


@pytest.mark.parametrize("path", sorted(PLUGIN.rglob("*.py")), ids=_name)
def test_plugin_uses_public_names_only(path):
    """The viewer plugin is a client like any other: nothing with a leading underscore, no command line."""
    for line, dotted in _imports(path):
        if dotted.split(".")[0] == "surfscan":
            private = any(part.startswith("_") and part != "__version__" for part in dotted.split("."))
            assert not private, f"{_name(path)}:{line}: {dotted} is private"
            assert _room(dotted) != "cli", f"{_name(path)}:{line}: the plugin does not call the command line"


@pytest.mark.parametrize("path", sorted(PLUGIN.rglob("*.py")), ids=_name)
def test_plugin_measures_nothing(path):
    """Numbers come from surfscan: no library of image processing, statistics or fits in the plugin."""
    barred = {"cv2", "scipy", "skimage", "lmfit", "statsmodels"}
    measuring = {"preparation", "segmentation", "estimates", "electrochemistry", "immersion", "comparison"}
    for line, dotted in _imports(path):
        for_display = (path.name, dotted) == ("pyramid.py", "cv2")  # makes smaller copies to show
        assert for_display or dotted.split(".")[0] not in barred, f"{_name(path)}:{line}: {dotted}"
        if dotted.split(".")[0] == "surfscan":
            assert _room(dotted) not in measuring, f"{_name(path)}:{line}: call a procedure for {dotted}"


def test_core_never_imports_the_viewer():
    """Neither Qt nor napari is named in the core."""
    barred = {"napari", "napari_surfscan", "qtpy", "PySide6", "PyQt6", "PyQt5", "magicgui", "vispy"}
    found = [
        f"{_name(p)}:{line}" for p in MODULES for line, name in _imports(p) if name.split(".")[0] in barred
    ]
    assert found == []


def _loaded_by(statement: str) -> set[str]:
    code = f"{statement}\nimport sys; print(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


HEAVY = {
    "numpy",
    "scipy",
    "cv2",
    "skimage",
    "matplotlib",
    "pandas",
    "pydantic",
    "tifffile",
    "lmfit",
    "openpyxl",
}
SCREENS = {"napari", "qtpy", "PySide6", "PyQt6", "vispy", "magicgui", "napari_surfscan"}


@pytest.mark.parametrize("statement", ["import surfscan", "import surfscan.cli"])
def test_import_is_light(statement):
    """Importing surfscan, or its command line, loads nothing heavy and no screen."""
    assert _loaded_by(statement) & (HEAVY | SCREENS) == set()


def test_procedures_stay_off_heavy_libraries():
    """What `pits` and `degraded` need loads neither tables, plots nor the slow parts of scipy."""
    loaded = _loaded_by(
        "from surfscan import open_image\nfrom surfscan.procedures import measure_pits, measure_degraded"
    )
    barred = {"pandas", "matplotlib", "skimage", "lmfit", "scipy.ndimage", "scipy.stats", *SCREENS}
    assert loaded & barred == set()


@pytest.mark.parametrize("path", OURS, ids=_name)
def test_file_length(path):
    """One topic, one module: under 500 lines."""
    assert len(path.read_text(encoding="utf-8").splitlines()) < 500


@pytest.mark.parametrize("path", [p for p in MODULES if not p.name.startswith("_")], ids=_name)
def test_mirrored_test_file(path):
    """Every module has its own test file in the same place under tests/."""
    inside = path.relative_to(CORE)
    assert (ROOT / "tests" / inside.parent / f"test_{inside.name}").is_file()


def _undocumented(path: Path) -> Iterator[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if ast.get_docstring(tree) is None:
        yield "the module itself"
    owners: list[tuple[str, ast.Module | ast.ClassDef]] = [("", tree)]
    owners += [
        (f"{node.name}.", node)
        for node in tree.body
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
    ]
    for prefix, owner in owners:
        for node in owner.body:
            named = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef)
            if named and not node.name.startswith("_") and ast.get_docstring(node) is None:
                yield f"{prefix}{node.name} (line {node.lineno})"


@pytest.mark.parametrize("path", MODULES + sorted(PLUGIN.rglob("*.py")), ids=_name)
def test_public_names_have_docstrings(path):
    """Modules, public classes, functions and methods say what they do."""
    assert list(_undocumented(path)) == []


MACHINE = re.compile(
    r"(?<![\w.~-])/(?:home|root|Users|work|opt|tmp|srv)/"  # a path of somebody's machine
    r"|(?:pypi|files)\.(?:org|pythonhosted)"  # a registry host
    r"|\bTO(?:DO)\b|\bFIX(?:ME)\b"
)


@pytest.mark.parametrize("path", TEXTS, ids=_name)
def test_nothing_of_a_machine(path):
    """No file names a path of one machine or a registry host, or leaves a note to finish later."""
    text = path.read_text(encoding="utf-8")
    found = [f"{text[: m.start()].count(chr(10)) + 1}: {m.group()}" for m in MACHINE.finditer(text)]
    assert found == []
