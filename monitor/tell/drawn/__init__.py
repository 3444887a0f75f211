"""Charts and drawings."""
