"""Every way in: the class folder, the command line, HTTP, storage, pages."""
