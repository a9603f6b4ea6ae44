"""Plain pages: server-rendered, working without scripts."""
