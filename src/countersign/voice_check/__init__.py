"""Measures how well a voice is heard, and which pronunciation of a word fits recordings."""
