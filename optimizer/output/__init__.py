"""What a person sees: terminal, pages, pictures, drawings, frames, progress.

Imports the drivers, candidates and firings and what lies below them.
"""
