"""Session plans: every edit a version."""
