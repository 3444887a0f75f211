"""Putting up the wall: take-off, rows, flatness, site check, makers' rules, care."""
