"""Whole invented cases with their exact truth.

A case is made from a seed at three levels that agree: plain steps with the truth after each
(``acts``, ``room``), the events that meaning should give (``expected``), and the words that people
say (``saying``). The truth comes from a small simulation of its own (``room``, ``medicines``) that
knows nothing of how the program reconciles.
"""
