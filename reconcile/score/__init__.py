"""Whether a logged score is what happened, and if not, what did happen."""
