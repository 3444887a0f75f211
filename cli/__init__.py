"""The command line: one file a noun; each command parses, makes one call of the desk, prints and exits."""
