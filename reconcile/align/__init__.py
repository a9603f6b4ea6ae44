"""Where the timed blocks of a plan lie on each recording, and whose recording it is."""
