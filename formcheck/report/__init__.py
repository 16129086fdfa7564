"""What is said of a set: the contract, the words, the page, the tables and the clip."""
