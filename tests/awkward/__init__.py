"""Files as they are met in the wild, all made here from one invented flight."""
