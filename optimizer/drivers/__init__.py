"""How a search goes through its candidates: all of them, or by evolution; blocks, relaxations, rounding.

Imports the candidates and what lies below them.
"""
