"""The documents are tested a little: rooms, settings, the two commands and the version cannot drift from the code."""

from __future__ import annotations

import ast
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "readiness"
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def rooms() -> list[str]:
    """Return the folders of the package that hold any module."""
    return sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))


def names_read(tree: ast.AST) -> set[str]:
    """Return the names that `env("X")`, `env.str("X")`, `os.environ.get("X")`, `os.environ["X"]` and the like read."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and node.args:
            asked, name = ast.unparse(node.func), node.args[0]
            if not re.fullmatch(r"env(\.\w+)?|(os\.)?environ\.(get|pop)|(os\.)?getenv", asked):
                continue
        elif isinstance(node, ast.Subscript) and ast.unparse(node.value).endswith("environ"):
            name = node.slice
        else:
            continue
        if isinstance(name, ast.Constant) and isinstance(name.value, str):
            names.add(name.value)
    return names


def settings_read() -> set[str]:
    """Return every name that the product reads from the environment."""
    return set().union(*(names_read(ast.parse(path.read_text(encoding="utf-8"))) for path in PACKAGE.rglob("*.py")))


def first_block(text: str) -> list[str]:
    """Return the lines of the first code block."""
    return text.split("```")[1].strip().splitlines()


def test_every_room_is_on_the_map():
    assert {"engineering", "models", "actions", "reports"} <= set(rooms())
    assert [room for room in rooms() if f"| `readiness/{room}/` |" not in DEVELOPERS] == []


def test_every_path_on_the_map_exists():
    map_of_paths = DEVELOPERS.split("## The map")[1].split("\n## ")[0]
    cells = [line.split("|")[1] for line in map_of_paths.splitlines() if line.startswith("| `")]
    paths = [path for cell in cells for path in re.findall(r"`([^`]+)`", cell)]
    assert len(paths) > 20
    assert [path for path in paths if not (ROOT / path).exists()] == []


def test_every_setting_is_explained():
    assert {"DATABASE_URL", "SECRET_KEY"} <= settings_read()
    assert [name for name in sorted(settings_read()) if f"| `{name}` |" not in DEVELOPERS] == []


def test_every_setting_that_is_explained_is_read():
    table = DEVELOPERS.split("## Settings")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE)) == settings_read()


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ('env.bool("A", default=False)', {"A"}),
        ('env("B")', {"B"}),
        ('os.environ["C"] + os.environ.get("D", "") + os.getenv("E")', {"C", "D", "E"}),
        ('other("F"); os.environ[name]; os.environ.setdefault("G", "g")', set()),
    ],
)
def test_reading_of_settings_is_noticed(source, names):
    assert names_read(ast.parse(source)) == names


def test_readme_begins_with_the_job_and_the_two_commands():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert first_block(readme) == ["python3 manage.py demo", "python3 manage.py test"]
    before = [part for part in readme.split("```")[0].split("\n\n") if part.strip()]
    assert len(before) == 2, "a heading and one paragraph stand before the commands"


def test_newest_change_is_of_this_version():
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (\S+) \(\d{4}-\d{2}-\d{2}\)$", changes, re.MULTILINE)[0] == version
