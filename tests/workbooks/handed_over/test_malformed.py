"""Every malformed file gives one sentence or is understood, in seconds and little memory.

Each file is opened in a process of its own, so that its processor time and its greatest resident set are its own; the
process is small (no Django, no tests), as measured by the operating system.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.workbooks.handed_over import worker
from tests.workbooks.handed_over.malformed import FILES

MOST_SECONDS = 6  # "a few", on a busy machine
MOST_MB = 300
ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """What the worker says of every file, by name."""
    folder = tmp_path_factory.mktemp("malformed")
    numbered = {f"{number:04}": name for number, name in enumerate(FILES)}
    for number, name in numbered.items():
        (folder / number).write_bytes(FILES[name]())
    command = [sys.executable, "-m", "tests.workbooks.handed_over.worker", str(folder)]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    said = [json.loads(line) for line in ran.stdout.splitlines()]
    return {numbered[each["file"]]: each for each in said}


def test_there_are_two_hundred_of_them():
    assert len(FILES) >= 200
    assert sum(not name.startswith("ok:") for name in FILES) >= 150


@pytest.mark.parametrize("name", FILES)
def test_a_sentence_or_an_understanding(results, name):
    result = results[name]
    if "byte changed" in name:  # an archive holds bytes that say nothing, such as its times of day
        assert result["what"] in {"sentence", "understood"}
    else:
        assert result["what"] == ("understood" if name.startswith("ok:") else "sentence"), result["words"]
    if result["what"] == "sentence":
        assert " read" in result["words"]
        assert result["words"].endswith(".")
        assert len(result["words"]) < 400
    assert result["seconds"] < MOST_SECONDS
    assert result["peak_mb"] < MOST_MB


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("png", "no workbook"),
        ("pdf", "PDF"),
        ("docx", "text document"),
        ("xls", ".xls"),
        ("xlsb", ".xlsb"),
        ("ods", ".ods"),
        ("encrypted workbook", "password"),
        ("html saved as xls", "web page"),
        ("macros", "macros"),
        ("links outside", "links to other workbooks"),
        ("nested workbook", "another file packed in it"),
        ("laughs in the sheet", "entities"),
        ("laughs in UTF-16", "damaged inside"),
        ("one cell at the far corner", "XFD1048576"),
        ("ten million empty rows", "delete the empty rows"),
        ("bomb of zeros", "unpacks to 200,000,000"),
        ("sixty thousand rows", "More than 50,000 filled rows"),
        ("a cell of forty thousand letters", "32,767 characters"),
        ("zero bytes", "control character 0"),
        ("a quotation mark never closed", "quotation mark"),
        ("a quotation mark closed by another", "begins in line 2"),
        ("twenty thousand columns", "column 257"),
        ("one column", "single column"),
        ("no encoding at all", "line 2"),
        ("nothing", "empty file"),
        ("delimiters alone", "without a single entry"),
    ],
)
def test_the_sentence_names_what_is_wrong(results, name, words):
    assert words in results[name]["words"]


def test_the_worker_tells_a_process_that_takes_too_long(monkeypatch, tmp_path):
    """The limits above can fail: a process that spins is ended and said to be killed."""

    def spin(_):
        while True:
            pass

    monkeypatch.setattr(worker, "outcome", spin)
    monkeypatch.setattr(worker, "MOST_SECONDS", 1)
    path = tmp_path / "file"
    path.write_bytes(b"x")
    assert worker.measured(path)["what"] == "killed"
