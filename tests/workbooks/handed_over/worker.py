"""Opens, lays out, understands and settles each file of a folder in a process of its own, and says what it took.

Run as ``python -m tests.workbooks.handed_over.worker FOLDER``; one line of JSON a file: what came of it, the seconds of
processor time, and the greatest resident set in MB as the operating system counts it.
"""

import json
import os
import resource
import sys
from datetime import date
from pathlib import Path

from readiness.workbooks.handed_over.layouts import faults_of, fingerprint, guess, guess_layout
from readiness.workbooks.handed_over.opening import NotAWorkbook, open_sheets
from readiness.workbooks.handed_over.settling import settle
from readiness.workbooks.handed_over.understanding import understand

TODAY = date(2026, 6, 15)
MOST_SECONDS = 20  # of processor time, after which the system ends the process
_BYTES = 1 if sys.platform == "darwin" else 1024


def outcome(data):
    """("sentence", words) or ("understood", rows) of one file."""
    try:
        opened = open_sheets(data, name="stock.csv")
    except NotAWorkbook as refused:
        return "sentence", refused.sentence
    rows = 0
    for sheet in [opened.sheet(guess(opened, units="us").layout.sheet), *opened.sheets]:
        layout = guess_layout(sheet, units="us").layout
        faults_of(layout, sheet)
        fingerprint(sheet, layout.header_row)
        understood = understand(sheet, layout, units="us", today=TODAY)
        settled = settle(understood, {}, units="us", today=TODAY)
        numbers = [row.number for row in sheet.rows]
        if [row.number for row in understood] != numbers or [row.number for row in settled] != numbers:
            return "lost rows", ""
        rows += len(numbers)
    return "understood", str(rows)


def measured(path):
    """What one file took in a process of its own."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS + 5))
        try:
            said = outcome(path.read_bytes())
        except BaseException as error:  # whatever it is, the parent is told
            said = ("raised", repr(error))
        os.write(writing, json.dumps(said).encode()[:60_000])
        os._exit(0)
    os.close(writing)
    body = b""
    while piece := os.read(reading, 65_536):
        body += piece
    os.close(reading)
    _, _, usage = os.wait4(child, 0)
    what, words = json.loads(body) if body else ("killed", "")
    seconds = usage.ru_utime + usage.ru_stime
    return {"what": what, "words": words, "seconds": seconds, "peak_mb": usage.ru_maxrss * _BYTES / 1e6}


def main(folder):
    for path in sorted(Path(folder).iterdir()):
        print(json.dumps({"file": path.name, **measured(path)}), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
