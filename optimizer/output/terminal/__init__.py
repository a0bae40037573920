"""What the terminal shows, one file a command beside what they share.

Each imports rich, units and the types of what it shows; none knows anything of files.
"""
