"""Pages as values, their parts, and how they are rendered."""
