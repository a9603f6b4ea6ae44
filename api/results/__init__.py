"""Results: how a class's rows become the engine's record, and what comes out."""
