"""A plan's timeline, made to be looked at."""
