"""The layers hold: each folder imports only what design allows."""

import ast
import re
import sys
from pathlib import Path

import pytest

APP = Path(__file__).resolve().parent.parent / "app"
MAY_IMPORT = {
    "core": {"core"},
    "store": {"core", "store"},
    "render": {"core", "render"},
    "web": {"core", "store", "render", "web"},
}
CORE_LIBRARIES = {"numpy", "scipy"}
CLOCK_AND_ENVIRONMENT = {"os", "time", "socket", "subprocess", "pathlib", "locale", "random"}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            names.update(f"{node.module}.{alias.name}" for alias in node.names)
    return names


@pytest.mark.parametrize("layer", MAY_IMPORT)
def test_a_layer_imports_only_those_below_it(layer):
    for path in (APP / layer).rglob("*.py"):
        found = {name.split(".")[1] for name in imported(path) if name.startswith("app.")}
        found -= set() if layer == "core" else {"packed"}  # where the program's own files lie
        assert found <= MAY_IMPORT[layer], path


def test_core_knows_no_library_but_numpy_and_scipy_no_clock_and_no_environment():
    for path in (APP / "core").rglob("*.py"):
        roots = {name.split(".")[0] for name in imported(path)} - {"app"}
        assert roots <= CORE_LIBRARIES | set(sys.stdlib_module_names), path
        assert not roots & CLOCK_AND_ENVIRONMENT, path
        assert ".now(" not in path.read_text(), path
        assert ".today(" not in path.read_text(), path


READ_THE_CLOCK = re.compile(
    r"\b(datetime|date|dt)\.(now|today|utcnow)\(|\btime\.(time|time_ns|localtime|gmtime)\(|wall_clock\b"
)
# The program's ends, where a person waits; and tools that are run by hand, as benchmarks are.
BY_THE_WALL = {
    "app/web/carrying.py",
    "app/web/commands.py",
    "app/web/settings.py",
    "app/web/upkeep.py",
    "tests/faults/kill_rounds.py",
    "tests/pictures.py",
    "tests/test_layers.py",
    "tests/web/test_gate.py",
}


def test_the_wall_clock_is_read_by_the_command_line_alone_and_by_no_test():
    found = {
        str(path.relative_to(APP.parent))
        for folder in ("app", "tests", "demo_data")
        for path in (APP.parent / folder).rglob("*.py")
        if "benchmarks" not in path.parts and READ_THE_CLOCK.search(path.read_text())
    }
    assert found == BY_THE_WALL


def test_the_store_never_commits():
    for path in (APP / "store").rglob("*.py"):
        assert ".commit(" not in path.read_text(), path


def test_render_and_core_never_touch_the_database():
    for layer in ("core", "render"):
        for path in (APP / layer).rglob("*.py"):
            assert not any(name.startswith("sqlalchemy") for name in imported(path)), path


# Rooms, from the ground up: a room imports its own modules and those of rooms before it.
ROOMS = {
    "core": ("values", "gauges", "facing", "compare", "plan", "jobs", "shop"),
    "store": ("postgresql", "records", "book"),
}


@pytest.mark.parametrize("layer", ROOMS)
def test_a_room_imports_only_rooms_below_it(layer):
    order = ROOMS[layer]
    rooms = {path.name for path in (APP / layer).iterdir() if (path / "__init__.py").exists()}
    assert rooms == set(order)
    for height, room in enumerate(order):
        for path in (APP / layer / room).rglob("*.py"):
            names = {name.split(".")[2] for name in imported(path) if name.count(".") > 1}
            assert not names & set(order[height + 1 :]), path


def test_migrations_form_one_line():
    scripts = APP.parent / "migrations" / "versions"
    before = [
        node.value.value
        for path in scripts.glob("*.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and node.targets[0].id == "down_revision"
        and isinstance(node.value, ast.Constant)
    ]
    assert len(before) == len(set(before))
