"""The documents, and what of them is made from the package itself."""
