"""A flight as recorded: the noun, its cleaning, and one reader for each file format."""
