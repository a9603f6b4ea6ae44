"""Classes: when, by which plan, who took part, what they logged."""
