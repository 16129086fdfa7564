"""What is measured on a rep: one quantity a module, each with its ±."""
