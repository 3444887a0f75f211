"""A job from its opening to the life of its wall: what people say of it becomes entries of its log."""
