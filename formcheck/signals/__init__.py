"""From landmarks to curves: view, ground, the body in space."""
