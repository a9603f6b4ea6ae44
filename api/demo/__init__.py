"""A fictional class: a plan, ten invented people, and what their devices would have recorded."""
