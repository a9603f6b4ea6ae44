"""Questions that a result raises: pins and decisions."""
