"""One file a command: what it does beyond reading files and showing answers.

Imports the drivers, candidates and firings and what lies below them.
"""
