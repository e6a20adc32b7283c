"""Makes the environment that every other command needs, with nothing but the standard library.

1. An active virtual environment that holds every package is used as it is.
2. Otherwise `.venv` beside manage.py is used: made when missing, filled by pip, and stamped with what was installed,
   so that the next run finds the stamp and starts at once. The command is then started again with its Python.
3. What fails says why and leaves nothing half made. An environment that this module did not make is never deleted.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import importlib.metadata
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYPROJECT = ROOT / "pyproject.toml"
BEGUN = VENV / ".foam-readiness-begun"  # this module made the environment
STAMP = VENV / ".foam-readiness-installed"  # and filled it: for which pyproject.toml, with which extras
STARTED_AGAIN = "FOAM_READINESS_STARTED_AGAIN"
LAST_LINES = 8
SPACE_MB = 300
PAST_THE_END = 1 << 30  # Windows locks bytes, and would keep others from reading those that exist

ADVICE = {
    "No space left on device": f"The disk is full: about {SPACE_MB} MB are needed. Free some and run it again.",
    "Permission denied": f"You may not write in {ROOT}. Use a copy in a folder of your own.",
    "No module named pip": "The environment in .venv has no pip. Move .venv away and run the command again.",
    "Connection|resolve host|name resolution|timed out|matching distribution|SSLError|Could not fetch URL": (
        "The packages could not be fetched. Check the network (pip's own settings for a proxy or a mirror count here) "
        "and run the command again."
    ),
}


class SetUpError(Exception):
    """The environment could not be made; the message is for the person at the keyboard."""


def prepare(argv: list[str]) -> None:
    """Return when this Python holds the packages for the command; otherwise set up and start again in `.venv`.

    Ends the process with status 1 and a sentence when that cannot be done.
    """
    extras = wanted_extras(argv)
    again = os.environ.pop(STARTED_AGAIN, "")  # taken out, so that commands started by a command begin afresh
    if holds_packages(extras):
        return
    if again:
        sys.exit("The environment in .venv lacks packages although pip installed them. Remove .venv and run again.")
    try:
        if not is_current(extras) and not is_complete_elsewhere(extras):
            set_up(extras)
    except SetUpError as error:
        sys.exit(str(error))
    except OSError as error:
        sys.exit(f"{advice(str(error))}\nPython said: {error}")
    except KeyboardInterrupt:
        sys.exit("Stopped. Run the command again to go on.")
    start_again(argv)


def run_tests(arguments: list[str]) -> NoReturn:
    """Become pytest, in the project's folder and with this Python; the whole suite on every processor."""
    os.chdir(ROOT)
    become([sys.executable, "-m", "pytest", *(arguments or ["-n", "auto"])], dict(os.environ))


def say(sentence: str) -> None:
    """Tell the person what is going on, apart from the command's own output."""
    sys.stderr.write(sentence + "\n")
    sys.stderr.flush()


def advice(text: str) -> str:
    """Return the sentence that helps with what pip, venv or the system said."""
    found = (sentence for pattern, sentence in ADVICE.items() if re.search(pattern, text, re.IGNORECASE))
    return next(found, "The environment could not be made.")


# What a command needs, and whether it is there


def wanted_extras(argv: list[str]) -> set[str]:
    """Return the extras of pyproject.toml that this command needs beside the product's own packages."""
    extras = set()
    if argv[1:2] == ["test"]:
        extras.add("test")
    if os.environ.get("DATABASE_URL", "").startswith(("postgres", "pgsql", "psql")):
        extras.add("postgresql")
    return extras


def project_table() -> dict[str, Any]:
    """Return what pyproject.toml says of the project; the settings of its tools are of no interest here."""
    table: dict[str, Any] = tomllib.loads(PYPROJECT.read_text(encoding="utf-8"))["project"]
    return table


def packages(extras: set[str]) -> list[str]:
    """Return the names of the packages that pyproject.toml asks for."""
    project = project_table()
    optional = project.get("optional-dependencies", {})
    wanted = [*project.get("dependencies", []), *(line for extra in extras for line in optional.get(extra, []))]
    return [re.split(r"[^\w.-]", line, maxsplit=1)[0] for line in wanted]


def holds_packages(extras: set[str]) -> bool:
    """Say whether this very Python is a virtual environment with all packages in it."""
    if sys.prefix == sys.base_prefix:
        return False
    if Path(sys.prefix).resolve() == VENV.resolve() and is_marked() and not is_current(extras):
        return False  # half made, or pyproject.toml has changed since
    return not missing_packages(extras)


def missing_packages(extras: set[str]) -> list[str]:
    """Return the packages that this Python lacks."""
    return [name for name in packages(extras) if not is_installed(name)]


def is_installed(name: str) -> bool:
    """Say whether this Python has a package, whatever its version: versions are pip's business."""
    try:
        importlib.metadata.distribution(name)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


def is_complete_elsewhere(extras: set[str]) -> bool:
    """Say whether `.venv` was made by other means (a developer, an editor) and holds all packages already."""
    if is_marked() or not venv_python().exists():
        return False
    code = "import sys; from readiness import bootstrap; sys.exit(bool(bootstrap.missing_packages(set(sys.argv[1:]))))"
    command = [str(venv_python()), "-c", code, *extras]
    done = subprocess.run(command, cwd=ROOT, check=False, stderr=subprocess.DEVNULL)  # noqa: S603 - our own Python, no shell
    return done.returncode == 0


# The stamp


def is_marked() -> bool:
    """Say whether this module made or filled `.venv`."""
    return BEGUN.exists() or STAMP.exists()


def fingerprint() -> str:
    """Return what identifies the list of packages: a hash of what pyproject.toml says of the project."""
    return hashlib.sha256(json.dumps(project_table(), sort_keys=True).encode()).hexdigest()


def stamped_extras() -> set[str]:
    """Return the extras that the stamp of `.venv` tells of, whatever pyproject.toml they came from."""
    return set(STAMP.read_text(encoding="utf-8").split()[1:]) if STAMP.exists() else set()


def is_current(extras: set[str]) -> bool:
    """Say whether `.venv` was filled from the present pyproject.toml with at least these extras."""
    if not (STAMP.exists() and venv_python().exists()):
        return False
    return STAMP.read_text(encoding="utf-8").split()[:1] == [fingerprint()] and extras <= stamped_extras()


def stamp(extras: set[str]) -> None:
    """Write the stamp in one step, so that a half-written one cannot exist."""
    draft = STAMP.with_suffix(".draft")
    draft.write_text(" ".join([fingerprint(), *sorted(extras)]), encoding="utf-8")
    draft.replace(STAMP)


# Making the environment


def set_up(extras: set[str]) -> None:
    """Make and fill `.venv`, one run at a time; take it away again when it was new and could not be filled."""
    with one_at_a_time():
        if is_current(extras):
            return  # another run finished it while this one waited
        is_new = make_environment()
        try:
            install(extras | stamped_extras())
        except BaseException:
            if is_new:
                shutil.rmtree(VENV)
            raise


@contextlib.contextmanager
def one_at_a_time() -> Iterator[None]:
    """Hold a lock on pyproject.toml; the system frees it when a run dies, so that none can be left behind."""
    with PYPROJECT.open("rb") as file:
        os.set_inheritable(file.fileno(), True)  # a pip that outlives its killed parent keeps others waiting
        if not try_lock(file.fileno()):
            say("Another run is making the environment. Waiting for it …")
            while not try_lock(file.fileno()):
                time.sleep(0.2)
        yield


def try_lock(handle: int) -> bool:
    """Take the lock and say so, or say that another run has it."""
    try:
        if sys.platform == "win32":
            os.lseek(handle, PAST_THE_END, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in {errno.EACCES, errno.EAGAIN, errno.EDEADLK}:
            return False
        raise
    return True


def make_environment() -> bool:
    """Make `.venv` unless a usable one is there; say whether it is new."""
    is_half_made = BEGUN.exists() and not (STAMP.exists() and venv_python().exists())
    if VENV.exists() and not is_half_made:
        if not venv_python().exists():
            raise SetUpError(f"{VENV} is no environment of this system. Move it away and run the command again.")
        return False
    require_venv_modules()
    if is_half_made:
        say("Removing the half-made environment in .venv …")
        shutil.rmtree(VENV)
    require_space()
    say("Making an environment in .venv …")
    VENV.mkdir()
    try:
        BEGUN.touch()
        run([base_python(), "-I", "-m", "venv", str(VENV)], "Python could not make an environment")
    except BaseException:
        shutil.rmtree(VENV)
        raise
    return True


def require_venv_modules() -> None:
    """Refuse before anything is made when this Python cannot make environments (Debian and Ubuntu ship it apart)."""
    if importlib.util.find_spec("venv") is None or importlib.util.find_spec("ensurepip") is None:
        raise SetUpError(
            "This Python cannot make environments: its venv part is not installed. Nothing was changed.\n"
            "On Debian and Ubuntu this helps: sudo apt install python3-venv\n"
            "Then run the command again."
        )


def require_space() -> None:
    """Refuse before anything is made when the disk is too full: pip would only find out halfway."""
    free_mb = shutil.disk_usage(ROOT).free // 1_000_000
    if free_mb < SPACE_MB:
        raise SetUpError(
            f"The disk has {free_mb} MB free; the environment needs about {SPACE_MB} MB. Nothing was made."
        )


def install(extras: set[str]) -> None:
    """Install the project and these extras into `.venv` and stamp it."""
    say("Installing the packages (about a minute) …")
    target = f".[{','.join(sorted(extras))}]" if extras else "."
    pip = [str(venv_python()), "-I", "-m", "pip", "install", "--disable-pip-version-check", "--quiet"]
    run([*pip, "--editable", target], "pip could not install the packages")
    stamp(extras)


def run(command: list[str], failure: str) -> None:
    """Run a command quietly; when it fails, raise what it said last and the sentence that helps."""
    done = subprocess.run(  # noqa: S603 - our own Python, no shell
        command,
        cwd=ROOT,
        check=False,
        text=True,
        errors="replace",
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        close_fds=False,  # hands the lock on
    )
    if done.returncode:
        lines = done.stdout.strip().splitlines()
        errors = [line for line in lines if "ERROR:" in line]  # pip ends with remarks that say nothing
        said = "\n".join(f"  {line.strip()}" for line in (errors or lines)[-LAST_LINES:])
        kept = "What was installed before is kept." if STAMP.exists() else "Nothing half made was left behind."
        raise SetUpError(f"{failure}; it said:\n{said}\n{advice(done.stdout)} {kept}")


def base_python() -> str:
    """Return the Python that this one was made from; it outlives the removal of `.venv`."""
    return str(getattr(sys, "_base_executable", sys.executable))


def venv_python() -> Path:
    """Return the place of the Python in `.venv`."""
    return VENV / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")


def start_again(argv: list[str]) -> NoReturn:
    """Become the same command under the Python of `.venv`."""
    become([str(venv_python()), str(ROOT / "manage.py"), *argv[1:]], {**os.environ, STARTED_AGAIN: "1"})


def become(command: list[str], environment: dict[str, str]) -> NoReturn:
    """Turn this process into another one; does not come back."""
    if sys.platform == "win32":  # there execve would hand the prompt back before the command has ended
        sys.exit(subprocess.run(command, env=environment, check=False).returncode)  # noqa: S603 - our own Python, no shell
    os.execve(command[0], command, environment)  # noqa: S606 - our own Python, no shell
