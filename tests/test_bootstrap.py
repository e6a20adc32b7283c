"""The bootstrap, run for real in copies of the project that need no network.

The copies hold the product's own manage.py and bootstrap; Django and pytest are stand-ins that print who runs them, and
the build backend is one of ours, so that pip has nothing to fetch.
"""

from __future__ import annotations

import ast
import fcntl
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PLAIN_PYTHON = str(getattr(sys, "_base_executable", sys.executable))  # the one outside any virtual environment

PYPROJECT = """
[build-system]
requires = []
build-backend = "backend"
backend-path = ["."]

[project]
name = "foam-readiness"
version = "0.1.0"
dependencies = ["pip"]

[project.optional-dependencies]
test = []
"""
BACKEND = '''
import tomllib
import zipfile

def build_editable(folder, config_settings=None, metadata_directory=None):
    """Build the smallest wheel there is."""
    info = "foam_readiness-0.1.0.dist-info"
    name = "foam_readiness-0.1.0-py3-none-any.whl"
    with open("pyproject.toml", "rb") as file:
        needs = "".join("Requires-Dist: " + line + "\\n" for line in tomllib.load(file)["project"]["dependencies"])
    with zipfile.ZipFile(folder + "/" + name, "w") as wheel:
        wheel.writestr(info + "/METADATA", "Metadata-Version: 2.1\\nName: foam-readiness\\nVersion: 0.1.0\\n" + needs)
        wheel.writestr(info + "/WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr(info + "/RECORD", "")
    return name
'''
DJANGO = """
import sys

def execute_from_command_line(argv):
    print("django", sys.prefix, *argv[1:])
"""
PYTEST = """
import os, sys
print("pytest", sys.prefix, os.getcwd(), *sys.argv[1:])
"""
LACKING = PYPROJECT.replace('"pip"', '"foam-readiness-package-that-nobody-made"')


REFUSE = "import os\ndef refuse(*_, **__):\n    raise OSError({})\nos.mkdir = refuse"


def write_project(folder: Path) -> Path:
    """Lay out a project with the real door and bootstrap and stand-ins for the rest."""
    (folder / "readiness").mkdir(parents=True)
    (folder / "django" / "core").mkdir(parents=True)
    for name in ("manage.py", "readiness/__init__.py", "readiness/bootstrap.py"):
        shutil.copy(ROOT / name, folder / name)
    (folder / "pyproject.toml").write_text(PYPROJECT)
    (folder / "backend.py").write_text(BACKEND)
    (folder / "django" / "core" / "management.py").write_text(DJANGO)
    (folder / "pytest.py").write_text(PYTEST)
    return folder


def environment() -> dict[str, str]:
    """Return an environment in which pip cannot reach any package and nothing of this run's own leaks in."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PIP_", "PYTHON"))}
    kept.pop("DATABASE_URL", None)
    return {**kept, "PIP_NO_INDEX": "1", "PIP_NO_CACHE_DIR": "1"}


def manage(folder: Path, *arguments: str, before: str = "", python: str = PLAIN_PYTHON) -> subprocess.CompletedProcess:
    """Run the copy's manage.py, after some Python lines that take something away from it."""
    script = f"import runpy, sys\n{before}\nsys.argv[0] = 'manage.py'\nrunpy.run_path('manage.py', run_name='__main__')"
    command = [python, "-c", script, *arguments] if before else [python, "manage.py", *arguments]
    return subprocess.run(command, cwd=folder, env=environment(), text=True, capture_output=True, timeout=60)


@pytest.fixture(scope="module")
def first_run(tmp_path_factory):
    """Start from a .venv that a killed run left half made, and run a command."""
    folder = write_project(tmp_path_factory.mktemp("first") / "project")
    (folder / ".venv").mkdir()
    (folder / ".venv" / ".foam-readiness-begun").touch()
    (folder / ".venv" / "half").touch()
    return folder, manage(folder, "check", "--deploy")


@pytest.fixture
def made(first_run, tmp_path):
    """A project whose environment is made, in a folder of its own."""
    shutil.copytree(first_run[0], tmp_path / "project", symlinks=True)
    return tmp_path / "project"


def ask_for_more(folder: Path) -> None:
    """Change pyproject.toml so that it asks for a package that cannot be had."""
    (folder / "pyproject.toml").write_text(LACKING)


def test_half_made_environment_is_removed_and_made_anew_and_the_command_runs_in_it(first_run):
    folder, done = first_run
    assert done.returncode == 0, done.stderr
    assert done.stdout == f"django {folder / '.venv'} check --deploy\n"
    assert done.stderr.splitlines() == [
        "Removing the half-made environment in .venv …",
        "Making an environment in .venv …",
        "Installing the packages (about a minute) …",
    ]
    assert not (folder / ".venv" / "half").exists()


def test_second_run_sets_nothing_up(made):
    (pip,) = (made / ".venv" / "lib").glob("python*/site-packages/pip")
    shutil.rmtree(pip)  # whatever needs it now fails
    done = manage(made, "check")
    assert (done.returncode, done.stdout, done.stderr) == (0, f"django {made / '.venv'} check\n", "")


def test_python_of_the_environment_needs_no_set_up(made):
    done = manage(made, "check", python=str(made / ".venv" / "bin" / "python"))
    assert (done.stdout, done.stderr) == (f"django {made / '.venv'} check\n", "")


def test_tests_are_installed_once_and_run_by_pytest_in_the_projects_folder(made):
    first = manage(made, "test", "-k", "pails")
    second = manage(made, "test", "-k", "pails")
    plain = manage(made, "check")
    assert first.stdout == second.stdout == f"pytest {made / '.venv'} {made} -k pails\n"
    assert first.stderr == "Installing the packages (about a minute) …\n"
    assert second.stderr == plain.stderr == ""


def test_the_whole_suite_runs_on_every_processor(made):
    assert manage(made, "test").stdout.endswith(f"{made} -n auto\n")


def test_changed_list_of_packages_is_installed_again_but_not_for_changed_settings_of_tools(made):
    (made / "pyproject.toml").write_text(PYPROJECT + "[tool.ruff]\nline-length = 120\n")
    assert manage(made, "check").stderr == ""
    (made / "pyproject.toml").write_text(PYPROJECT.replace('"pip"', '"pip>=1"'))
    assert manage(made, "check").stderr == "Installing the packages (about a minute) …\n"
    assert manage(made, "check").stderr == ""


def test_missing_ensurepip_is_said_before_anything_is_made(tmp_path):
    folder = write_project(tmp_path / "project")
    before = sorted(folder.iterdir())
    done = manage(folder, "check", before="sys.modules['ensurepip'] = None")
    assert sorted(folder.iterdir()) == before
    assert done.returncode == 1
    assert "sudo apt install python3-venv" in done.stderr
    assert "Traceback" not in done.stderr


def test_failing_pip_takes_the_new_environment_away_and_says_what_pip_said(made, tmp_path):
    folder = write_project(tmp_path / "fresh")
    ask_for_more(folder)
    # Making an environment takes seconds; the one made already stands in for a new one, pip and its failure are real.
    before = (
        "import shutil\nfrom readiness import bootstrap\nreal = bootstrap.run\n"
        f"copy = lambda: shutil.copytree({str(made / '.venv')!r}, '.venv', symlinks=True, dirs_exist_ok=True,"
        " ignore=shutil.ignore_patterns('.foam*'))\n"
        "bootstrap.run = lambda command, failure: copy() if 'venv' in command else real(command, failure)"
    )
    done = manage(folder, "check", before="sys.path.insert(0, '')\n" + before)
    assert done.returncode == 1
    assert "Making an environment" in done.stderr
    assert "No matching distribution found for foam-readiness-package-that-nobody-made" in done.stderr
    assert "Check the network" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (folder / ".venv").exists()


def test_failing_pip_keeps_an_environment_that_was_whole(made):
    ask_for_more(made)
    done = manage(made, "check")
    assert done.returncode == 1
    assert "What was installed before is kept." in done.stderr
    (made / "pyproject.toml").write_text(PYPROJECT)
    assert manage(made, "check").stderr == ""


def test_environment_made_by_other_means_is_used_but_never_marked_or_deleted(made):
    (made / ".venv" / ".foam-readiness-begun").unlink()
    (made / ".venv" / ".foam-readiness-installed").unlink()
    assert manage(made, "check").stdout == f"django {made / '.venv'} check\n"
    ask_for_more(made)
    assert manage(made, "check").returncode == 1
    assert (made / ".venv" / "bin" / "python").exists()
    assert not (made / ".venv" / ".foam-readiness-installed").exists()


def test_folder_named_venv_that_is_no_environment_is_left_alone(tmp_path):
    folder = write_project(tmp_path / "project")
    (folder / ".venv").mkdir()
    (folder / ".venv" / "diary").touch()
    done = manage(folder, "check")
    assert done.returncode == 1
    assert "Move it away" in done.stderr
    assert (folder / ".venv" / "diary").exists()


@pytest.mark.parametrize(
    ("before", "sentence"),
    [
        ("import shutil; shutil.disk_usage = lambda _: shutil._ntuple_diskusage(9, 9, 12_000_000)", "has 12 MB free"),
        (REFUSE.format("13, 'Permission denied'"), "may not write in"),
        (REFUSE.format("28, 'No space left on device'"), "disk is full"),
    ],
)
def test_what_the_system_refuses_is_a_sentence(tmp_path, before, sentence):
    folder = write_project(tmp_path / "project")
    done = manage(folder, "check", before=before)
    assert done.returncode == 1
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr
    assert not (folder / ".venv").exists()


def test_second_run_waits_for_the_first_and_then_uses_its_environment(made):
    stamp = made / ".venv" / ".foam-readiness-installed"
    finished = stamp.read_text()
    stamp.unlink()
    with (made / "pyproject.toml").open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        command = [PLAIN_PYTHON, "manage.py", "check"]
        waiting = subprocess.Popen(
            command, cwd=made, env=environment(), text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        assert waiting.stderr.readline() == "Another run is making the environment. Waiting for it …\n"
        stamp.write_text(finished)
    answer, further = waiting.communicate(timeout=30)
    assert (answer, further) == (f"django {made / '.venv'} check\n", "")


def test_environment_that_lacks_packages_although_stamped_does_not_start_itself_forever(made):
    (metadata,) = (made / ".venv" / "lib").glob("python*/site-packages/pip-*.dist-info")
    shutil.rmtree(metadata)
    done = manage(made, "check")
    assert done.returncode == 1
    assert "Remove .venv" in done.stderr


def test_old_python_gets_one_sentence(tmp_path):
    folder = write_project(tmp_path / "project")
    done = manage(folder, "check", before="sys.version_info = (3, 9, 18)")
    assert done.returncode == 2
    assert done.stderr.startswith("Foam Readiness needs Python 3.11 or newer")
    assert len(done.stderr.splitlines()) == 1


def test_an_old_python_can_read_manage_py():
    ast.parse((ROOT / "manage.py").read_text(), feature_version=(3, 4))


def test_bootstrap_imports_the_standard_library_only():
    tree = ast.parse((ROOT / "readiness" / "bootstrap.py").read_text())
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    imported |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert "tomllib" in imported
    assert {name.split(".")[0] for name in imported} <= sys.stdlib_module_names
