"""Sensors as people meet them: heard, named, brought to a place, checked; what was refused; loggers' files."""
