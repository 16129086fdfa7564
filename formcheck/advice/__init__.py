"""What comes next: the ladder and the step on it."""
