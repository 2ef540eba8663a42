"""Compares recognisers on the same audio, through the same meaning and tally.

``python -m tests.benchmarks --help``. Needs the extra ``bench``. The scores are in ``scores``,
one recogniser a module function in ``recognisers``, and every recogniser runs in a process of its
own (``child``), so that its memory is its own.
"""
