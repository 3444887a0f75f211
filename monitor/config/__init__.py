"""What the user writes: wallclime.toml and profile files.

Text goes in, checked settings come out, or every fault of the file at once.
"""
