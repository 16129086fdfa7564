"""Where the joints are: the landmark model, whose pose it is, and the pose track on disk."""
