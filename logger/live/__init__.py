"""What is recorded live, and what the operator sees of it."""
