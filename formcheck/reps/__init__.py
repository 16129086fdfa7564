"""From curves to attempts, reps and phases; two clips of one set."""
