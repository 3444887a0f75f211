"""wallclime's rooms: read the folder list from basis to watch and you have followed one reading home."""

__version__ = "0.1.0"
