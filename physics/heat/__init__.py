"""What gets hot, and when: conduction in time, walls, liners, seats of seals.

Imports the ballistics and what lies below them.
"""
