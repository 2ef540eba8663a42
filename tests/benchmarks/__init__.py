"""Measures the program and its alternatives on speech. Needs the extra ``bench``.

- ``python -m tests.benchmarks`` compares recognisers on the same recordings, through the same
  meaning and tally. The scores are in ``scores``, one recogniser a module function in
  ``recognisers``, and every recogniser runs in a process of its own (``child``).
- ``python -m tests.benchmarks.lines`` plays ten thousand made lines to the whole program.
- ``python -m tests.benchmarks.people`` has real people say numbers.
- ``python -m tests.benchmarks.calibrate`` fits the confidence on what ``lines`` heard.

Each takes ``--help`` and, with ``--write-readme README.md``, writes its figures between its own
markers of that page.
"""
