"""A sheet that somebody kept for years, read as it stands.

1. ``opening.open_sheets(data, *, name)`` → ``Opened``; raises ``NotAWorkbook`` with its sentence.
2. ``layouts.guess(opened, *, units)`` → the ``Guess`` for the sheet that looks most like stock;
   ``layouts.guess_layout(sheet, *, units, header_row=None)`` → ``Guess``; ``layouts.faults_of(layout, sheet)`` →
   sentences about a mapping that cannot be used; ``layouts.fingerprint(sheet, header_row)`` → what a remembered mapping
   is found by; ``layouts.to_json(layout)`` and ``layouts.from_json(body)``.
3. ``understanding.understand(sheet, layout, *, units, today)`` → one ``Understood`` for every filled row.
4. ``settling.settle(understood, answers, *, units, today)`` → one ``Settled`` for each of them. ``answers``: by
   ``doubt.group`` for all alike, by ``doubt.key`` for one row, which goes before; a choice's key or what was typed.
"""
