"""The physics of room air and boards: NumPy only, scalar and array alike.

Pure functions with units in their names and a source in their docstrings.
"""
