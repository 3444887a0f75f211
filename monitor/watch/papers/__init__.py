"""Pages and sheets put together from the store, written and printed."""
