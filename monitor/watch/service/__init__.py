"""The daemon: what it hears, does on schedule and tells, and how it proves that it lives."""
