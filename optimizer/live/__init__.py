"""A motor turned in the hand: the knobs of a motor file, what a turn does, and the page and server that show it.

`server.serve` is the way in. Imports the rest of optimizer but the actions and the command line.
"""
