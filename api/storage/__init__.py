"""Where the service keeps things: database, encrypted bytes, decoded columns, backups."""
