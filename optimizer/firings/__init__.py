"""What a static firing says: the record, its channels, its reduction, the re-fitted rate law.

Imports the inputs and what lies below them.
"""
