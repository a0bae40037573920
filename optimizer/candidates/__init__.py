"""What a search may choose from, and what passes: candidates by index, limits, catalogues, families, judges.

Imports the inputs, the vocabulary and physics.
"""
