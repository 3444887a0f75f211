"""What the room does to boxes, boards and the wall's skin: what lags behind, and what moves."""
