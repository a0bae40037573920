"""What lets go, and at which pressure: one family of modes a file, put together by `ladder`.

Imports the heat, the ballistics and what lies below them.
"""
