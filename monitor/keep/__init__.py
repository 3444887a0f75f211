"""The store: readings, condition log, quarantine and what was derived from them.

The only room that knows SQL; SQLite by default, PostgreSQL by URL.
"""
